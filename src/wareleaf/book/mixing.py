"""Rooms in which leaf mixes: which lots a taking is made of, by a rule that is stated.

A bin or a silo is filled with lots and emptied by weight, and nobody sees which grams come out. The
rule says it:

- ``in_order``: first in, first out; lots do not mix.
- ``mixed``: all that lies there is one mixture.
- ``tanks``: as many equal mixed parts one behind another; filled at one end, emptied at the other.
  One tank is ``mixed``; very many come near ``in_order``.

A mixture never gives up the last of a lot. So that a recall neither follows it for ever nor drops
it unsaid, the rule has a cut: a lot of which less than this share of the room's content would be
left goes out with the taking, and the taking names it and how much that moved.

Lots stay lots: a taking draws from each of them, in whole grams, so that masses close as in every
other event.

The equal tanks at changing content are this project's own derivation; at constant content they are
the tanks-in-series model (Levenspiel, *Chemical Reaction Engineering*, chapter 14, from memory),
whose residence time is gamma distributed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm
from scipy.special import gammaincc, gammainccinv

from wareleaf.measure.errors import BadInput, require

Array = NDArray[np.float64]
RULES = ("in_order", "mixed", "tanks")
MOST_TANKS = 50


@dataclass(frozen=True, slots=True)
class Mixing:
    """How leaf mixes in a room.

    Parameters
    ----------
    rule : str
        ``in_order``, ``mixed`` or ``tanks``.
    tanks : int
        Equal mixed parts in a row, 1 to 50; only for ``tanks``.
    cut : float
        Share of the room's content below which a lot counts as out, 0 to 0.05. With 0 the last
        gram is followed.
    """

    rule: str = "mixed"
    tanks: int = 1
    cut: float = 0.001

    def __post_init__(self) -> None:
        require(
            self.rule in RULES,
            "rule",
            self.rule,
            f"rule is {self.rule!r}; it must be one of {', '.join(RULES)}.",
        )
        require(
            1 <= self.tanks <= MOST_TANKS,
            "tanks",
            self.tanks,
            f"tanks is {self.tanks}; it must be from 1 to {MOST_TANKS}.",
        )
        require(
            0.0 <= self.cut <= 0.05,
            "cut",
            self.cut,
            f"cut is {self.cut:g}; it must be from 0 to 0.05 (5 % of what the room holds).",
        )

    @property
    def cells(self) -> int:
        """Mixed parts that have to be followed."""
        return self.tanks if self.rule == "tanks" else 1


@dataclass(frozen=True, slots=True)
class Move:
    """A filling of a room with one lot (``lot_id`` given), or a taking (``lot_id`` empty)."""

    mass_g: int
    lot_id: str = ""


@dataclass(frozen=True, slots=True)
class Taking:
    """What a taking is made of.

    Parameters
    ----------
    parts_g : mapping
        Whole grams of each lot; they add up to what was taken.
    closed_g : mapping
        Lots that the cut took out: grams of each that by the rule alone would still lie there.
    """

    parts_g: Mapping[str, int]
    closed_g: Mapping[str, int] = field(default_factory=dict)


def take(mixing: Mixing, moves: Sequence[Move], left_g: Mapping[str, int], mass_g: int) -> Taking:
    """Share a taking among the lots that lie in a room.

    Parameters
    ----------
    mixing : Mixing
        The room's rule.
    moves : sequence of Move
        Fillings and takings so far, in order, since the room was last empty.
    left_g : mapping
        What the book has left of each lot in the room, whole grams. It rules over ``moves``, which
        only say how the lots lie.
    mass_g : int
        What is taken, whole grams.

    Raises
    ------
    BadInput
        When nothing or more than there is would be taken, or a lot lies there that never came.
    """
    there = {lot_id: g for lot_id, g in left_g.items() if g > 0}
    content = sum(there.values())
    require(mass_g > 0, "mass_g", mass_g, f"mass_g is {mass_g}; it must be above 0.")
    require(
        mass_g <= content,
        "mass_g",
        mass_g,
        f"mass_g is {mass_g}, but the room holds {content} g.",
    )
    came = [m.lot_id for m in moves if m.lot_id]
    strange = sorted(set(there) - set(came))
    if strange:
        raise BadInput("lots", strange, f"{', '.join(strange)} lies there but never came in.")
    order = [lot_id for lot_id in dict.fromkeys(came) if lot_id in there]
    if mass_g == content:
        return Taking(there)
    if mixing.rule == "in_order":
        return Taking(_first_out(order, there, mass_g))
    held = np.array([there[lot_id] for lot_id in order])
    cells = lie(mixing, moves, order)
    cells *= held / np.maximum(cells.sum(axis=0), 1e-300)
    wanted = held - _emptied(cells, mass_g / content).sum(axis=0)
    parts = _whole(wanted, held, mass_g)
    return _cut_off(mixing, order, parts, held, mass_g)


def lie(mixing: Mixing, moves: Sequence[Move], lots: Sequence[str]) -> Array:
    """How lots lie in the parts of a room: grams, shape (parts, lots), by the moves alone."""
    n = mixing.cells
    place = {lot_id: k for k, lot_id in enumerate(lots)}
    # A last column holds what has gone from the book since, so that it still takes up room.
    cells = np.zeros((n, len(lots) + 1))
    for move in moves:
        content = float(cells.sum())
        if move.lot_id:
            cells = _filled(cells, move.mass_g, place.get(move.lot_id, len(lots)))
        elif move.mass_g >= content * (1.0 - 1e-12):
            cells = np.zeros_like(cells)
        else:
            cells = _emptied(cells, move.mass_g / content)
    return np.asarray(cells[:, :-1])


def _filled(cells: Array, mass_g: float, column: int) -> Array:
    """Equal parts after a filling: each passes on what it has no room for.

    With content M and ``t = ln M``, part i of n gains ``(n-i+1) x[i-1] - (n-i) x[i]`` and the first
    gains the filling, M.
    """
    n = cells.shape[0]
    content = float(cells.sum())
    new = np.zeros_like(cells)
    if content <= 0.0:
        new[:, column] = mass_g / n
        return new
    i = np.arange(1, n + 1)
    rates = np.diag(-(n - i).astype(float)) + np.diag((n - i[1:] + 1).astype(float), -1)
    grown = np.zeros((n + 1, n + 1))
    grown[:n, :n], grown[0, n], grown[n, n] = rates, 1.0, 1.0
    after = expm(grown * math.log1p(mass_g / content))
    new = after[:n, :n] @ cells
    new[:, column] += after[:n, n] * content
    return np.asarray(new)


def _emptied(cells: Array, share: float) -> Array:
    """Equal parts after a share of the content was taken from the last one.

    With content M and ``t = -ln M``, part i gains ``(i-1) x[i-1] - i x[i]``.
    """
    i = np.arange(1, cells.shape[0] + 1, dtype=float)
    rates = np.diag(-i) + np.diag(i[:-1], -1)
    return np.asarray(expm(rates * -math.log1p(-share)) @ cells)


def _first_out(order: Sequence[str], there: Mapping[str, int], mass_g: int) -> dict[str, int]:
    parts: dict[str, int] = {}
    for lot_id in order:
        here = min(there[lot_id], mass_g - sum(parts.values()))
        if here > 0:
            parts[lot_id] = here
    return parts


def _whole(wanted: Array, held: NDArray[np.int64], mass_g: int) -> NDArray[np.int64]:
    """Whole grams that add up, each at most what is there; largest remainders are rounded up."""
    wanted = np.clip(wanted, 0.0, held)
    parts = np.floor(wanted).astype(np.int64)
    by_remainder = np.argsort(parts - wanted, kind="stable")
    missing = mass_g - int(parts.sum())
    while missing != 0:
        sign = 1 if missing > 0 else -1
        for k in by_remainder[::sign]:
            if missing and 0 <= parts[k] + sign <= held[k]:
                parts[k] += sign
                missing -= sign
    return parts


def _cut_off(
    mixing: Mixing,
    order: Sequence[str],
    parts: NDArray[np.int64],
    held: NDArray[np.int64],
    mass_g: int,
) -> Taking:
    """Let lots of which too little would be left go out whole, the smallest first."""
    left = held - parts
    least = mixing.cut * float(left.sum())
    closed: dict[str, int] = {}
    for k in np.argsort(left, kind="stable"):
        if not 0 < left[k] < least:
            continue
        others = [j for j in np.argsort(-parts, kind="stable") if j != k and parts[j] > left[k]]
        if not others:
            continue
        closed[order[k]] = int(left[k])
        parts[others[0]] -= left[k]
        parts[k] += left[k]
        left[others[0]] += left[k]
        left[k] = 0
    return Taking({lot_id: int(g) for lot_id, g in zip(order, parts, strict=True) if g > 0}, closed)


def still_there(mixing: Mixing, through_g: float, content_g: float) -> float:
    """Share of a lot that still lies in a room after a throughput at constant content.

    The upper tail of the gamma distribution with as many steps as tanks; a step for ``in_order``.
    """
    _positive(content_g)
    if mixing.rule == "in_order":
        return 1.0 if through_g < content_g else 0.0
    return float(gammaincc(mixing.cells, mixing.cells * through_g / content_g))


def tail_g(mixing: Mixing, content_g: float, share: float | None = None) -> float:
    """Throughput at constant content until less than a share of a lot is left, grams.

    Parameters
    ----------
    mixing : Mixing
        The room's rule.
    content_g : float
        What the room holds.
    share : float, optional
        The cut of the rule when left out.
    """
    _positive(content_g)
    share = mixing.cut if share is None else share
    require(0.0 < share < 1.0, "share", share, f"share is {share:g}; it must be between 0 and 1.")
    if mixing.rule == "in_order":
        return content_g
    return float(content_g / mixing.cells * gammainccinv(mixing.cells, share))


def _positive(content_g: float) -> None:
    require(
        content_g > 0.0, "content_g", content_g, f"content_g is {content_g:g}; it must be above 0."
    )
