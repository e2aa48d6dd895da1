"""How much of which lots came from which sources, for many sources at once.

The shares solve ``X = A X + B``, where a row of A holds the shares of a lot's parents and B marks
the sources. A is triangular in the order of making, so X is filled level by level; one sparse
product takes a level for a block of sources. With fewer lots than sources it runs from the lots
back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wareleaf.book.lineage import Floats, Lineage, Places, Walk

BLOCK = 64
"""Sources followed at once; the memory is bounded by this many numbers for each lot reached."""


@dataclass(frozen=True, eq=False)
class Shares:
    """Parts of the dry matter of some lots that came from some sources.

    Parameters
    ----------
    lots, sources : tuple of str
        Rows and columns.
    part : array, lots by sources
        0 to 1. A source is wholly its own. What came from a source that was itself made of another
        one counts under both.
    """

    lots: tuple[str, ...]
    sources: tuple[str, ...]
    part: Floats


def share_together(lineage: Lineage, sources: Iterable[str]) -> dict[str, float]:
    """Part of the dry matter of every lot reached that came from any of some lots.

    For a fault that struck several lots: what came from two of them counts once.
    """
    names = list(dict.fromkeys(sources))
    numbers = lineage.numbers(names)
    walk = lineage.walk(numbers[numbers >= 0], back=False, together=True)
    found = zip(walk.lots.tolist(), walk.share[walk.lots].tolist(), strict=True)
    lots = lineage.lots
    return dict.fromkeys(names, 1.0) | {lots[n]: share for n, share in found}


def shares(lineage: Lineage, sources: Iterable[str], lots: Iterable[str] | None = None) -> Shares:
    """Part of the dry matter of some lots that came from each of some sources.

    Parameters
    ----------
    lineage : Lineage
        The genealogy.
    sources : iterable of str
        Lot ids.
    lots : iterable of str, optional
        Without them, the lots made of the sources of which nothing was made further.

    Returns
    -------
    Shares
        In the order given; lots that are found here in the order in which the genealogy has them.
    """
    columns = tuple(dict.fromkeys(sources))
    starts = lineage.numbers(columns)
    if lots is None:
        walk = lineage.walk(starts[starts >= 0], back=False)
        ends = np.sort(walk.lots[lineage.ends(walk.lots, back=False)])
        alone = [k for k, n in zip(columns, starts.tolist(), strict=True) if n < 0]
        rows = (*alone, *map(lineage.lots.__getitem__, ends.tolist()))
        wanted = np.concatenate([np.full(len(alone), -1), ends])
        if len(columns) == 1 and not alone:
            return Shares(rows, columns, walk.share[ends][:, None])
    else:
        rows = tuple(dict.fromkeys(lots))
        wanted = lineage.numbers(rows)
    if len(rows) < len(columns):
        part = _parts(lineage, wanted, starts, back=True).T
    else:
        part = _parts(lineage, starts, wanted, back=False)
    _own(part, rows, columns, starts)
    return Shares(rows, columns, part)


def _own(part: Floats, rows: tuple[str, ...], columns: tuple[str, ...], starts: Places) -> None:
    """A source that no edge names is all that it is in."""
    alone = {columns[n]: n for n in np.flatnonzero(starts < 0)}
    if alone:
        for row, name in enumerate(rows):
            if name in alone:
                part[row, alone[name]] = 1.0


def _parts(lineage: Lineage, starts: Places, wanted: Places, *, back: bool) -> Floats:
    """Shares between starts (columns) and wanted lots (rows)."""
    part = np.zeros((len(wanted), len(starts)))
    known = np.flatnonzero(wanted >= 0)
    place = np.full(len(lineage.number), -1, dtype=np.int64)
    for columns, lots, found in _blocks(lineage, starts, back=back):
        place[lots] = np.arange(len(lots))
        at = place[wanted[known]]
        part[np.ix_(known[at >= 0], columns)] = found[at[at >= 0]]
        place[lots] = -1
    return part


def _blocks(
    lineage: Lineage, numbers: Places, *, back: bool
) -> Iterator[tuple[NDArray[Any], NDArray[Any], Floats]]:
    """Columns, the lots that they reach and the shares; near lots go in one block.

    Where one block reaches much of what all reach together, all take the same walk.
    """
    order = np.argsort(numbers, kind="stable")
    order = order[numbers[order] >= 0]
    walk = lineage.walk(numbers[order], back=back)
    first = lineage.reach(numbers[order[:BLOCK]], back=back)[0]
    alike = 2 * len(first) > len(walk.lots)
    steps = _steps(lineage, walk, back=back)
    room = np.empty(0)  # kept for the next block: fresh memory costs more than the sums
    for a in range(0, len(order), BLOCK):
        columns = order[a : a + BLOCK]
        if not alike:
            walk = lineage.walk(numbers[columns], back=back)
            steps = _steps(lineage, walk, back=back)
        size = len(walk.lots) * len(columns)
        if len(room) < size:
            room = np.empty(size)
        x = room[:size].reshape(len(walk.lots), len(columns))
        _solve(walk, steps, numbers[columns], x)
        yield columns, walk.lots, x


def _steps(lineage: Lineage, walk: Walk, *, back: bool) -> Any:
    """The shares of a walk's edges as a sparse array between its lots, far by near."""
    place = np.empty(len(lineage.number), np.int32)
    place[walk.lots] = np.arange(len(walk.lots))
    near, far = lineage.child[walk.edges], lineage.parent[walk.edges]
    if not back:
        near, far = far, near
    return sparse.coo_array(
        (lineage.share[walk.edges], (place[far], place[near])),
        shape=(len(walk.lots), len(walk.lots)),
    ).tocsr()


def _solve(walk: Walk, steps: Any, starts: Places, x: Floats) -> None:
    """Fill the shares of the lots of a walk (rows) in terms of starts among them (columns)."""
    columns = np.arange(len(starts))
    by_lot = np.argsort(walk.lots, kind="stable")
    at = by_lot[np.searchsorted(walk.lots, starts, sorter=by_lot)]
    ends = np.flatnonzero(np.diff(walk.depth, append=-1)) + 1
    for a, b in zip([0, *ends[:-1]], ends, strict=True):
        x[a:b] = steps[a:b] @ x  # the rows below are not filled yet and not asked for
        here = (a <= at) & (at < b)
        x[at[here], columns[here]] += 1.0
