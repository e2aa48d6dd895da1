"""A trace found as arrays, whose nodes and edges become objects when someone asks for them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wareleaf.book.tracing import Node, Trace, TraceEdge


@dataclass(frozen=True, eq=False)
class Reached:
    """What a walk through the genealogy reached, lots and edges by their numbers.

    Parameters
    ----------
    ids : sequence of str
        Lot ids by number.
    made_by : callable
        The event that made a lot, by number.
    lots, depth : array of int
        Lots reached, by level, the traced lot first.
    share, dry_g : array of float
        As in `Node`, in that order.
    ends : array of bool
        Where the trace ends.
    parent, child : array of int
        Lots of each edge passed.
    passed_dry_g : array of float
        What passes over each.
    """

    ids: Sequence[str]
    made_by: Callable[[int], str]
    lots: NDArray[Any]
    depth: NDArray[Any]
    share: NDArray[np.float64]
    dry_g: NDArray[np.float64]
    ends: NDArray[np.bool_]
    parent: NDArray[Any]
    child: NDArray[Any]
    passed_dry_g: NDArray[np.float64]

    def trace(self, direction: str) -> Trace:
        """As a trace."""
        return Trace(self.ids[self.lots[0]], direction, self._nodes, lambda: self._edges(direction))

    @cached_property
    def _order(self) -> NDArray[Any]:
        """Lots by level, then id; as places among the lots."""
        names = [self.ids[n] for n in self.lots.tolist()]
        by_name = np.array(sorted(range(len(names)), key=names.__getitem__))
        return by_name[np.argsort(self.depth[by_name], kind="stable")]

    def _nodes(self) -> tuple[Node, ...]:
        order = self._order
        names = map(self.ids.__getitem__, self.lots[order].tolist())
        columns = (self.share, self.dry_g, self.depth, self.ends)
        rows = zip(names, *(column[order].tolist() for column in columns), strict=True)
        return tuple(map(Node._make, rows))

    def _edges(self, direction: str) -> tuple[TraceEdge, ...]:
        """In the order of the nodes on the near side."""
        place = np.empty(len(self.ids), int)
        place[self.lots[self._order]] = np.arange(len(self.lots))
        order = np.argsort(place[self.child if direction == "back" else self.parent], kind="stable")
        parents, children = self.parent[order].tolist(), self.child[order].tolist()
        rows = zip(
            map(self.ids.__getitem__, parents),
            map(self.ids.__getitem__, children),
            map(self.made_by, children),
            self.passed_dry_g[order].tolist(),
            strict=True,
        )
        return tuple(map(TraceEdge._make, rows))
