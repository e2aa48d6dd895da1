"""Shares of what a lot was made of (lines, fields, grades), with the doubt of the weighings.

Shares go by dry matter, ``share_i = drawn_i / sum(drawn)``. Each draw has the relative standard
uncertainty of the lot it was drawn from; a share moves by ``share_i (u_i - sum share_j u_j)``, to
first order and independent from draw to draw (JCGM 100:2008, equation 10). Over a whole history
these errors add up through every blend they passed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Drawn:
    """What an event drew from a lot: dry matter (any unit), and its relative uncertainty."""

    lot_id: str
    dry: float
    relative_sd: float


@dataclass(frozen=True, slots=True)
class Mixing:
    """The event that made a lot, and what went in."""

    event_id: str
    drawn: tuple[Drawn, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """Share of the dry matter, 0 to 1, with its standard uncertainty."""

    share: float
    sd: float


def shares_of(
    lot_id: str, made_by: Mapping[str, Mixing], marks: Mapping[str, Mapping[str, float]]
) -> dict[str, Share]:
    """Shares of marks in a lot.

    Parameters
    ----------
    lot_id : str
        The lot.
    made_by : mapping of str to Mixing
        How lots were made, without cycles; a lot that is missing was made of nothing known.
    marks : mapping of str to mapping of str to float
        Shares that are known of a lot itself (its line, its grade); the walk back stops there.

    Returns
    -------
    dict
        By mark, largest first; what has no mark is under ``UNKNOWN``. They add up to 1.
    """
    order = _parents_first(lot_id, made_by, marks)
    holds: dict[str, dict[str, float]] = {}
    for lot in order:
        if lot in marks or lot not in made_by:
            holds[lot] = dict(marks.get(lot) or {UNKNOWN: 1.0})
            continue
        mixed: dict[str, float] = {}
        for parent, share, _ in _parts(made_by[lot]):
            for mark, held in holds[parent].items():
                mixed[mark] = mixed.get(mark, 0.0) + share * held
        holds[lot] = mixed
    variance = _variances(order, lot_id, made_by, marks, holds)
    found = {m: Share(s, math.sqrt(variance.get(m, 0.0))) for m, s in holds[lot_id].items()}
    return dict(sorted(found.items(), key=lambda f: (-f[1].share, f[0])))


def _parts(mixing: Mixing) -> list[tuple[str, float, float]]:
    """Parent, share and relative uncertainty of each draw; equal shares of nothing."""
    whole = math.fsum(d.dry for d in mixing.drawn)
    even = 1.0 / len(mixing.drawn)
    return [(d.lot_id, d.dry / whole if whole else even, d.relative_sd) for d in mixing.drawn]


def _parents_first(
    lot_id: str, made_by: Mapping[str, Mixing], marks: Mapping[str, Mapping[str, float]]
) -> list[str]:
    order: list[str] = []
    opened: set[str] = set()
    waiting = [(lot_id, False)]
    while waiting:
        lot, done = waiting.pop()
        if done:
            order.append(lot)
        elif lot not in opened:
            opened.add(lot)
            waiting.append((lot, True))
            if lot in made_by and lot not in marks:
                waiting.extend((d.lot_id, False) for d in made_by[lot].drawn)
    return order


def _variances(
    order: list[str],
    lot_id: str,
    made_by: Mapping[str, Mixing],
    marks: Mapping[str, Mapping[str, float]],
    holds: Mapping[str, Mapping[str, float]],
) -> dict[str, float]:
    """Variance of each share, from the errors of all draws on the way."""
    weight = dict.fromkeys(order, 0.0)
    weight[lot_id] = 1.0
    moved: dict[tuple[str, str], dict[str, float]] = {}
    for lot in reversed(order):
        if lot in marks or lot not in made_by:
            continue
        for parent, share, relative_sd in _parts(made_by[lot]):
            weight[parent] += weight[lot] * share
            by = moved.setdefault((made_by[lot].event_id, parent), {})
            for mark, held in holds[lot].items():
                off = holds[parent].get(mark, 0.0) - held
                by[mark] = by.get(mark, 0.0) + weight[lot] * share * off * relative_sd
    found: dict[str, float] = {}
    for by in moved.values():
        for mark, size in by.items():
            found[mark] = found.get(mark, 0.0) + size**2
    return found
