"""The genealogy as arrays: traces and mass shares in books of a million edges.

Lots are numbered; edges lie sorted by child, with a second index by parent (compressed rows both
ways). A trace walks whole levels of the lots it reaches and touches nothing else. The results are
those of `wareleaf.book.tracing`, which is kept as the plain form that tests compare with.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wareleaf.book.lineage_part import LineagePart
from wareleaf.book.lineage_trace import Reached
from wareleaf.book.tracing import Edge, Trace, refuse_cycle, trace_back, trace_forward

Ints: TypeAlias = NDArray[np.int32]
Places: TypeAlias = NDArray[np.int64]
Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Walk:
    """All that is reached from some lots, by lot and edge number.

    Parameters
    ----------
    lots, depth : array of int
        Lots by level; a level holds what the levels before it lead to.
    share : array of float
        By lot number: part that came through (back) or from (forward) the starts, 1 at a start.
    edges : array of int
        Edges passed, by level of the near lot.
    passed : array of float
        Share of the near lot times share of the edge.
    """

    lots: NDArray[Any]
    depth: NDArray[Any]
    share: Floats
    edges: NDArray[Any]
    passed: Floats


class _Said(NamedTuple):
    """What a part says, by lot number."""

    children: Ints
    counts: Ints
    parents: Ints
    shares: Floats
    dry_g: Floats


class Lineage:
    """All lots that are made of others or went into others, and the edges between them.

    Immutable; `replaced` makes a new one. Safe to share between threads.

    Parameters
    ----------
    parts : iterable of LineagePart
        What each lot was made of. A later part that names a child again says it anew.
    """

    def __init__(self, parts: Iterable[LineagePart] = ()):
        self.number: dict[str, int] = {}
        self._made_by: dict[int, str] = {}
        self._take([self._numbered(part) for part in parts])

    @classmethod
    def of_edges(cls, edges: Iterable[Edge]) -> Lineage:
        """From edges one by one."""
        return cls([LineagePart.of_edges(edges)])

    def replaced(self, part: LineagePart) -> Lineage:
        """A lineage in which the lots of a part are made of what the part says."""
        new = Lineage()
        new.number, new._made_by = dict(self.number), dict(self._made_by)
        children = np.arange(len(self.number), dtype=np.int32)
        counts = np.diff(self._above).astype(np.int32)
        mine = _Said(children, counts, self.parent, self.share, self.dry_g)
        new._take([mine, new._numbered(part)])
        return new

    def _numbered(self, part: LineagePart) -> _Said:
        number = self.number
        if number:
            numbers = (number.setdefault(name, len(number)) for name in part.lots)
            to = np.fromiter(numbers, np.int32, len(part.lots))
        else:  # the same, faster
            number.update(zip(part.lots, range(len(part.lots)), strict=True))
            to = np.arange(len(part.lots), dtype=np.int32)
        children = to[: len(part.counts)]
        self._made_by.update(zip(children.tolist(), part.made_by, strict=True))
        return _Said(children, part.counts, to[part.parents], part.shares, part.dry_g)

    def _take(self, said: list[_Said]) -> None:
        """Join what parts say, the last one about each child, sorted by child."""
        last = np.full(len(self.number), -1, dtype=np.int32)
        for n, one in enumerate(said):
            last[one.children] = n
        keep = [last[one.children] == n for n, one in enumerate(said)]
        stay = [np.repeat(k, one.counts) for k, one in zip(keep, said, strict=True)]
        child = _joined([np.repeat(one.children[k], one.counts[k])
                         for k, one in zip(keep, said, strict=True)], np.int32)  # fmt: skip
        pairs = list(zip(stay, said, strict=True))
        parent = _joined([one.parents[k] for k, one in pairs], np.int32)
        share = _joined([one.shares[k] for k, one in pairs], np.float64)
        dry_g = _joined([one.dry_g[k] for k, one in pairs], np.float64)
        if bool((child[1:] < child[:-1]).any()):
            order = np.argsort(child, kind="stable")
            child, parent, share, dry_g = (a[order] for a in (child, parent, share, dry_g))
        self.child, self.parent, self.share, self.dry_g = child, parent, share, dry_g
        self._above = _starts(child, len(self.number))

    def __len__(self) -> int:
        """How many edges there are."""
        return len(self.child)

    @cached_property
    def lots(self) -> tuple[str, ...]:
        """Lot ids by number."""
        return tuple(self.number)

    @cached_property
    def _below(self) -> tuple[Places, Ints]:
        """Where the edges of each parent start in a list of edge numbers by parent."""
        count, lots = len(self), len(self.number)
        # scipy's conversion is a stable counting sort; its values are the edge numbers
        rows = sparse.csc_array(
            (np.arange(count, dtype=np.int32), self.parent, np.arange(count + 1)),
            shape=(lots, count),
        ).tocsr()
        return rows.indptr.astype(np.int64), rows.data

    def edges(self) -> Iterator[Edge]:
        """All edges, without what was drawn: for a comparison with the table they stand in."""
        lots = self.lots
        columns = (self.child.tolist(), self.parent.tolist(), self.share.tolist())
        for c, p, share, dry_g in zip(*columns, self.dry_g.tolist(), strict=True):
            yield Edge(lots[p], lots[c], self._made_by[c], share, dry_g, 0, 0.0)

    # tracing

    def trace_back(self, lot_id: str, dry_g: float | None = None) -> Trace:
        """Everything a lot was made of; as `wareleaf.book.trace_back`."""
        start = self.number.get(lot_id)
        if start is None:
            return trace_back((), lot_id, dry_g)
        mine = slice(self._above[start], self._above[start + 1])
        whole = float(self.dry_g[mine].sum()) if dry_g is None else dry_g
        walk = self.walk(np.array([start]), back=True)
        dry = walk.share[walk.lots] * whole
        return self._reached_by(walk, "back", dry, walk.passed * whole)

    def trace_forward(self, lot_id: str, dry_g: float | None = None) -> Trace:
        """Everything that was made of a lot; as `wareleaf.book.trace_forward`."""
        start = self.number.get(lot_id)
        if start is None:
            return trace_forward((), lot_id, dry_g)
        walk = self.walk(np.array([start]), back=False)
        amount = walk.share[self.parent[walk.edges]] * self.dry_g[walk.edges]
        came = np.bincount(self.child[walk.edges], amount, len(self.number))
        came[start] = dry_g or 0.0
        return self._reached_by(walk, "forward", came[walk.lots], amount)

    def _reached_by(self, walk: Walk, direction: str, dry_g: Floats, passed_g: Floats) -> Trace:
        return Reached(
            ids=self.lots,
            made_by=self._made_by.__getitem__,
            lots=walk.lots,
            depth=walk.depth,
            share=walk.share[walk.lots],
            dry_g=dry_g,
            ends=self.ends(walk.lots, back=direction == "back"),
            parent=self.parent[walk.edges],
            child=self.child[walk.edges],
            passed_dry_g=passed_g,
        ).trace(direction)

    def numbers(self, names: Sequence[str]) -> Places:
        """Numbers of some lots; -1 for one that no edge names."""
        return np.fromiter((self.number.get(k, -1) for k in names), np.int64, len(names))

    def ends(self, lots: NDArray[Any], *, back: bool) -> NDArray[np.bool_]:
        """Which of some lots were made of nothing (back) or went into nothing, by number."""
        starts = self._above if back else self._below[0]
        ends: NDArray[np.bool_] = starts[lots] == starts[lots + 1]
        return ends

    def reached(self, lot_ids: Iterable[str], *, back: bool) -> list[str]:
        """Ids of the lots above (back) or below some lots, and of those themselves."""
        names = list(dict.fromkeys(lot_ids))
        numbers = self.numbers(names)
        found = self.reach(numbers[numbers >= 0], back=back)[0]
        return list(dict.fromkeys([*names, *map(self.lots.__getitem__, found.tolist())]))

    def _step(self, lots: NDArray[Any], *, back: bool) -> tuple[NDArray[Any], Ints]:
        """Numbers of the edges up (back) or down from some lots, and the lots at the other end."""
        starts, order = (self._above, None) if back else self._below
        first = starts[lots]
        many = starts[lots + 1] - first
        places = np.repeat(first - (np.cumsum(many) - many), many)
        places += np.arange(len(places))
        edges = places if order is None else order[places]
        return edges, (self.parent if back else self.child)[edges]

    def reach(self, starts: NDArray[Any], *, back: bool) -> tuple[NDArray[Any], NDArray[np.int32]]:
        """Lots reached, the starts first, and how many reached edges lead to each lot."""
        seen, mark = np.zeros(len(self.number), bool), np.empty(len(self.number), np.int64)
        seen[starts] = True
        waits = np.zeros(len(self.number), np.int32)
        found, front = [starts], starts
        while len(front):
            _, reached = self._step(front, back=back)
            np.add.at(waits, reached, 1)
            front = _once(reached[~seen[reached]], mark)
            seen[front] = True
            found.append(front)
        return np.concatenate(found), waits

    def walk(self, starts: NDArray[Any], *, back: bool, together: bool = False) -> Walk:
        """Levels and shares of all that is reached; refuses a cycle.

        With ``together`` the starts count as one: what a start was made of another start is its
        own already.
        """
        found, waits = self.reach(starts, back=back)
        mark = np.empty(len(self.number), np.int64)
        share = np.zeros(len(self.number))
        share[starts] = 1.0
        fronts, edges, passed = [], [np.empty(0, np.int64)], [np.empty(0)]
        front = starts[waits[starts] == 0]
        while len(front):
            fronts.append(front)
            via, far = self._step(front, back=back)
            part = share[(self.child if back else self.parent)[via]] * self.share[via]
            np.add.at(share, far, part)
            if together:
                share[starts] = 1.0
            np.subtract.at(waits, far, 1)
            edges.append(via)
            passed.append(part)
            front = _once(far[waits[far] == 0], mark)
        lots = np.concatenate([np.empty(0, np.int64), *fronts])
        if len(lots) < len(found):
            refuse_cycle(min(self.lots[n] for n in found[waits[found] > 0]))
        depth = np.repeat(np.arange(len(fronts)), [len(f) for f in fronts])
        return Walk(lots, depth, share, np.concatenate(edges), np.concatenate(passed))


def _joined(columns: list[NDArray[Any]], kind: type) -> NDArray[Any]:
    return np.concatenate([np.empty(0, kind), *columns]).astype(kind, copy=False)


def _starts(sorted_lots: Ints, lots: int) -> Places:
    """Where the entries of each lot start."""
    starts = np.zeros(lots + 1, np.int64)
    np.cumsum(np.bincount(sorted_lots, minlength=lots), out=starts[1:])
    return starts


def _once(lots: NDArray[Any], mark: Places) -> NDArray[Any]:
    """Each of some lots once; the scratch has a place for every lot."""
    places = np.arange(len(lots))
    mark[lots] = places
    return lots[mark[lots] == places]
