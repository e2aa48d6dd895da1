"""What the balances give of the unmeasured streams, and the nodes that those join.

An unmeasured stream that lies on no ring of unmeasured streams is given. Together these are a
forest over what the rings join; it is walked from its leaves up, all leaves of a round at once.
Where no leaves are left there are rings; they are searched depth first (Tarjan 1974, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from wareleaf.book.reconcile.network import Network

Vector = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Round:
    """Nodes that hand what they lack to the node above, by a stream or as part of a ring.

    ``stream`` is -1 within a ring; ``sign`` is +1 where the stream leaves the node, else -1.
    """

    node: Index
    above: Index
    stream: Index
    sign: Vector


@dataclass(frozen=True)
class Forest:
    """What the balances give of the unmeasured streams.

    ``bridge``: it lies on no ring of unmeasured streams, so it is given. ``rounds`` go from the
    leaves to the roots; a node is in one round at most.
    """

    bridge: Mask
    rounds: tuple[Round, ...]
    size: int

    def roots(self) -> Index:
        """Root of each node: one for all nodes that unmeasured streams join."""
        root = np.arange(self.size)
        for r in reversed(self.rounds):
            root[r.node] = root[r.above]
        return root

    def links(self, nodes: Mask) -> tuple[Index, Index, Index, Vector]:
        """Node, node above, stream (or -1) and sign of every link between some nodes."""
        if not self.rounds:
            none = np.zeros(0, dtype=np.int64)
            return none, none, none, np.zeros(0)
        node, above, stream = (
            np.concatenate([getattr(r, part) for r in self.rounds])
            for part in ("node", "above", "stream")
        )
        sign = np.concatenate([r.sign for r in self.rounds])
        here = nodes[node]
        return node[here], above[here], stream[here], sign[here]

    def fill_in(self, lack: Vector, amount: Vector) -> None:
        """Write the amounts of the bridges.

        Parameters
        ----------
        lack : array
            What comes in less what goes out at every node, bridges left out; is used up. May have
            several columns.
        amount : array
            Amounts of all streams, with as many columns.
        """
        for r in self.rounds:
            passed = lack[r.node]
            by = r.stream >= 0
            sign = r.sign.reshape(-1, *[1] * (lack.ndim - 1))
            amount[r.stream[by]] = (sign * passed)[by]
            np.add.at(lack, r.above, passed)

    def counts(self, factor: Vector) -> Vector:
        """How the inflow of each node counts in a sum of bridges: the transpose of ``fill_in``.

        Parameters
        ----------
        factor : array
            Of each stream; only those of bridges are looked at. May have several columns.
        """
        inside = np.zeros((self.size, *factor.shape[1:]))
        for r in reversed(self.rounds):
            sign = (r.sign * (r.stream >= 0)).reshape(-1, *[1] * (factor.ndim - 1))
            inside[r.node] = inside[r.above] + sign * factor[r.stream]
        return inside


def forest_of(net: Network, unmeasured: Mask) -> Forest:
    """Find the bridges among the unmeasured streams."""
    which = np.flatnonzero(unmeasured)
    a, b = net.start[which], net.end[which]
    rounds = list(_peeled(which, a, b, net.size))
    bridge: Mask = np.zeros(len(net.start), dtype=bool)
    for r in rounds:
        bridge[r.stream] = True
    if len(which) > sum(len(r.node) for r in rounds):
        ringed = ~bridge[which]
        which, a, b = which[ringed], a[ringed], b[ringed]
        bridge[which[_bridges(a, b)]] = True
        on_ring = ~bridge[which]
        root = _first_of_part(a[on_ring], b[on_ring], net.size)
        node = np.flatnonzero(root != np.arange(net.size))
        none = np.full(len(node), -1, dtype=np.int64)
        rounds.append(Round(node, root[node], none, np.zeros(len(node))))
        between = ~on_ring
        which, a, b = which[between], a[between], b[between]
        rounds += _peeled(which, root[a], root[b], net.size)
    return Forest(bridge, tuple(rounds), net.size)


def _peeled(which: Index, a: Index, b: Index, size: int) -> Iterator[Round]:
    """Leaves, the leaves that are left without them, and so on."""
    degree = np.bincount(a, minlength=size) + np.bincount(b, minlength=size)
    place = np.arange(len(which))  # the sum of these at a leaf is its only stream
    own = (np.bincount(a, place, size) + np.bincount(b, place, size)).astype(np.int64)
    leaf = np.flatnonzero(degree == 1)
    while len(leaf):
        e = own[leaf]
        above = a[e] + b[e] - leaf
        first = (degree[above] > 1) | (leaf < above)  # a stream between two leaves goes once
        leaf, above, e = leaf[first], above[first], e[first]
        sign = np.where(a[e] == leaf, 1.0, -1.0)
        yield Round(leaf, above, which[e], sign)
        degree[leaf] = 0
        np.subtract.at(degree, above, 1)
        np.subtract.at(own, above, e)
        leaf = np.unique(above[degree[above] == 1])


def _first_of_part(a: Index, b: Index, size: int) -> Index:
    """For each node the first of those that some streams join it to."""
    graph = sp.coo_array((np.ones(len(a)), (a, b)), shape=(size, size))
    part = connected_components(graph, directed=False)[1]
    return np.unique(part, return_index=True)[1][part].astype(np.int64)


def _bridges(start: Index, end: Index) -> Index:
    """Places of the streams that lie on no ring."""
    nodes, ends = np.unique(np.stack([start, end]), return_inverse=True)
    size = len(nodes)
    near: list[list[tuple[int, int]]] = [[] for _ in range(size)]
    for e, (a, b) in enumerate(zip(*ends.reshape(2, -1).tolist(), strict=True)):
        near[a].append((e, b))
        near[b].append((e, a))
    seen, low, up = [-1] * size, [0] * size, [-1] * size
    found: list[int] = []
    for root in range(size):
        if seen[root] < 0:
            _walk(root, near, (seen, low, up), found)
    return np.array(found, dtype=np.int64)


def _walk(
    root: int,
    near: list[list[tuple[int, int]]],
    marks: tuple[list[int], list[int], list[int]],
    found: list[int],
) -> None:
    seen, low, up = marks
    count = 0
    seen[root] = low[root] = count
    stack = [(root, iter(near[root]))]
    while stack:
        node, rest = stack[-1]
        for e, other in rest:
            if e == up[node]:
                continue
            if seen[other] >= 0:
                low[node] = min(low[node], seen[other])
                continue
            count += 1
            up[other] = e
            seen[other] = low[other] = count
            stack.append((other, iter(near[other])))
            break
        else:
            stack.pop()
            if stack:
                above = stack[-1][0]
                low[above] = min(low[above], low[node])
                if low[node] > seen[above]:
                    found.append(up[node])
