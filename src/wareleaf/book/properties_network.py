"""Lots as linear functions of independent unit errors: what is known before any result."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from wareleaf.book.properties_given import Source, Step, check_given, in_order

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Network:
    """All lots as linear functions of independent unit errors; make it with `network`.

    Parameters
    ----------
    index : mapping
        Row of each lot.
    mean : array, shape (lots,)
        Before any result.
    spread : sparse array, shape (lots, errors)
        The matrix L: how far each unit error moves each lot.
    named : mapping of str to int
        Column of each error that lots have in common.
    """

    index: Mapping[str, int]
    mean: Vector
    spread: sp.csr_array
    named: Mapping[str, int] = field(default_factory=dict)

    def row(self, lot_id: str) -> int:
        """Row of a lot.

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        check_given(lot_id in self.index, "lot_id", lot_id, "is not in this network of lots")
        return self.index[lot_id]


@dataclass
class _Building:
    """The network while it is put together."""

    about: Mapping[str, tuple[float, float]]
    index: dict[str, int] = field(default_factory=dict)
    means: list[float] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    named: dict[str, int] = field(default_factory=dict)
    errors: int = 0

    def error(self) -> int:
        """Column of a new error."""
        self.errors += 1
        return self.errors - 1

    def put(self, lot_id: str, mean: float, row: dict[int, float]) -> None:
        """Add a lot."""
        check_given(lot_id not in self.index, "lot_id", lot_id, "is made twice")
        self.index[lot_id] = len(self.means)
        self.means.append(mean)
        self.rows.append(row)

    def share(self, row: dict[int, float], sizes: Mapping[str, float], by: float = 1.0) -> None:
        """Let errors with a name move a lot."""
        for name, size in sizes.items():
            if size and by:
                if name not in self.named:
                    self.named[name] = self.error()
                column = self.named[name]
                row[column] = row.get(column, 0.0) + size * by

    def mixed(self, step: Step) -> tuple[float, dict[int, float]]:
        """Mean and errors of what went into a step."""
        mean = 0.0
        row: dict[int, float] = {}
        for parent, share in step.parents.items():
            at = self.index[parent]
            mean += share * self.means[at]
            for k, v in self.rows[at].items():
                row[k] = row.get(k, 0.0) + share * v
        return mean, row

    def went_in(self, step: Step, mean: float, row: Mapping[int, float]) -> tuple[float, float]:
        """Mean and spread of what went in, as the doubt of a factor takes them."""
        if all(parent in self.about for parent in step.parents):
            known = [(share, *self.about[parent]) for parent, share in step.parents.items()]
            return sum(w * m for w, m, _ in known), sum(w * s for w, _, s in known)
        return mean, math.sqrt(math.fsum(v * v for v in row.values()))


def network(
    sources: Iterable[Source],
    steps: Iterable[Step],
    about: Mapping[str, tuple[float, float]] | None = None,
) -> Network:
    """Put lots and steps together.

    Parameters
    ----------
    sources : iterable of Source
        Lots that were made of nothing in the network.
    steps : iterable of Step
        In any order.
    about : mapping of str to (float, float), optional
        Mean and standard uncertainty of lots where the doubt of a factor and the unlikeness of
        parts are taken; without it, as known before any result. Give what a first pass of
        `condition` found, so that both are those of the leaf that was there and not of the usual
        leaf.

    Raises
    ------
    BadInput
        For a lot that is made twice, a parent that is not there, or a cycle.

    Notes
    -----
    The doubt of a factor enters as a step error with the second moment of the product of two
    independent numbers, ``factor_sd^2 * (mean^2 + sd^2)`` of what went in (Goodman 1960, from
    memory), so that the network stays linear. A factor error with a name enters to first order,
    ``size * mean``.
    """
    made = _Building(about or {})
    given = list(sources)
    for source in given:
        _begin(made, source)
    for step in in_order([s.lot_id for s in given], list(steps)):
        _take(made, step)
    spread = _sparse(made.rows, made.errors)
    return Network(made.index, np.array(made.means), spread, made.named)


def on_top(
    net: Network, mean: Vector, sd: Vector, sources: Iterable[Source], steps: Sequence[Step]
) -> tuple[Vector, sp.csr_array]:
    """Lots that are still to be made, on the errors of a network and new ones behind them.

    Parameters
    ----------
    net : Network
        The lots that are there.
    mean, sd : array, shape (lots,)
        What is known of them now: doubts of factors are taken there.
    sources, steps : iterable of Source, sequence of Step
        What will be, in order.

    Returns
    -------
    mean : array, shape (new lots,)
        Before any result.
    spread : sparse array, shape (new lots, errors)
        Columns of the network first.

    Raises
    ------
    BadInput
        For a lot that is there already, or a parent that is not.
    """
    given = list(sources)
    new = {s.lot_id for s in given} | {child for step in steps for child in step.children}
    drawn = sorted({p for step in steps for p in step.parents} - new)
    at = [net.row(lot) for lot in drawn]
    about = {lot: (float(mean[k]), float(sd[k])) for lot, k in zip(drawn, at, strict=True)}
    made = _Building(about, named=dict(net.named), errors=net.spread.shape[1])
    for lot, k in zip(drawn, at, strict=True):
        row = net.spread[[k]].tocsr()
        columns, sizes = row.indices.tolist(), row.data.tolist()
        made.put(lot, float(net.mean[k]), dict(zip(columns, sizes, strict=True)))
    for source in given:
        _begin(made, source)
    for step in steps:
        _take(made, step)
    first = len(drawn)
    return np.array(made.means[first:]), _sparse(made.rows[first:], made.errors)


def _begin(made: _Building, source: Source) -> None:
    """Add a lot that was made of nothing."""
    row = {made.error(): source.sd} if source.sd else {}
    made.share(row, source.shared)
    made.put(source.lot_id, source.mean, row)


def _take(made: _Building, step: Step) -> None:
    """Add the children of a step."""
    mean, row = made.mixed(step)
    common = {k: step.factor * v for k, v in row.items()} if step.factor else {}
    at, spread = mean, 0.0
    if step.factor_sd or step.shared_factor:
        at, spread = made.went_in(step, mean, row)
    sd = math.hypot(step.noise_sd, step.factor_sd * math.hypot(at, spread))
    if sd:
        common[made.error()] = sd
    made.share(common, step.shared)
    made.share(common, step.shared_factor, at)
    out = step.offset + step.factor * mean
    held = [made.about[child][0] for child in step.children if child in made.about] or [out]
    part_sd = math.hypot(step.part_sd, step.part_relative_sd * math.fsum(held) / len(held))
    whole = math.fsum(step.children.values())
    weight = [w / whole for w in step.children.values()]
    parts = [made.error() for _ in weight] if part_sd and len(weight) > 1 else []
    for i, child in enumerate(step.children):
        own = dict(common)
        for k, (column, w) in enumerate(zip(parts, weight, strict=False)):
            own[column] = part_sd * ((k == i) - w)
        made.put(child, out, own)


def _sparse(rows: list[dict[int, float]], width: int) -> sp.csr_array:
    ends = np.cumsum([0, *(len(r) for r in rows)])
    columns = np.array([k for r in rows for k in r], dtype=np.int64)
    values = np.array([v for r in rows for v in r.values()], dtype=np.float64)
    return sp.csr_array((values, columns, ends), shape=(len(rows), max(width, 1)))
