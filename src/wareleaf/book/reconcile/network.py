"""The streams as a network: what the balances check, what they give, and what nobody can say.

For streams between nodes the classes follow from the graph alone (Vaclavek 1969; Mah, Stanley and
Downing 1976; both from memory; the tests compare with ranks of matrices). The border is a node too.
Join the nodes that unmeasured streams connect: a measured stream that then starts and ends at the
same place is checked by nothing. An unmeasured stream is given by the balances when it lies on no
ring of unmeasured streams.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from wareleaf.book.reconcile.flows import Flow
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

BORDER = 0
"""Index of the border among the nodes."""


def sums(place: Index, amount: Vector, size: int) -> Vector:
    """Sum of the amounts at each place."""
    return np.asarray(np.bincount(place, amount, size), dtype=np.float64)


@dataclass(frozen=True)
class Network:
    """Streams as arrays: where from, where to; nodes are numbered, the border is 0."""

    start: Index
    end: Index
    size: int
    nodes: tuple[str, ...]  # name of node 1 and on

    def inflow(self, amount: Vector) -> Vector:
        """What comes in less what goes out at every node, the border too."""
        return sums(self.end, amount, self.size) - sums(self.start, amount, self.size)


def network_of(flows: Sequence[Flow]) -> Network:
    """Number the nodes.

    Raises
    ------
    BadInput
        For a stream that goes from a node to itself or from border to border.
    """
    number: dict[str | None, int] = {None: BORDER}
    start = np.empty(len(flows), dtype=np.int64)
    end = np.empty(len(flows), dtype=np.int64)
    for k, flow in enumerate(flows):
        if flow.start == flow.end:
            where = "the border" if flow.start is None else flow.start
            raise BadInput(
                "streams",
                flow.name,
                f"The stream {flow.name} goes from {where} to {where}; give two places.",
            )
        start[k] = number.setdefault(flow.start, len(number))
        end[k] = number.setdefault(flow.end, len(number))
    names = tuple(str(name) for name in number if name is not None)
    return Network(start, end, len(number), names)


def joined(net: Network, which: Mask) -> Index:
    """Number of the group that each node is in when some streams join their ends."""
    graph = sp.coo_array(
        (np.ones(int(which.sum())), (net.start[which], net.end[which])),
        shape=(net.size, net.size),
    )
    return connected_components(graph, directed=False)[1].astype(np.int64)


@dataclass(frozen=True)
class Given:
    """What the balances give of the unmeasured streams.

    ``bridge``: it lies on no ring of unmeasured streams. ``order`` walks the nodes that unmeasured
    streams touch, each after the one it was reached from; ``up`` is the stream that each of them
    was reached by (-1 for a root).
    """

    bridge: Mask
    order: list[int]
    up: list[int]


def given_by_balances(net: Network, unmeasured: Mask) -> Given:
    """Find the bridges among the unmeasured streams (depth first, Tarjan 1974, from memory)."""
    which = np.flatnonzero(unmeasured)
    nodes, ends = np.unique(np.stack([net.start[which], net.end[which]]), return_inverse=True)
    size = len(nodes)
    near: list[list[tuple[int, int]]] = [[] for _ in range(size)]
    for e, a, b in zip(which.tolist(), *ends.reshape(2, -1).tolist(), strict=True):
        near[a].append((e, b))
        near[b].append((e, a))
    bridge: Mask = np.zeros(len(net.start), dtype=bool)
    seen, low, up = [-1] * size, [0] * size, [-1] * size
    order: list[int] = []
    for root in range(size):
        if seen[root] < 0:
            _walk(root, near, (seen, low, up), order, bridge)
    return Given(bridge, nodes[order].tolist(), [up[k] for k in order])


def _walk(
    root: int,
    near: list[list[tuple[int, int]]],
    marks: tuple[list[int], list[int], list[int]],
    order: list[int],
    bridge: Mask,
) -> None:
    seen, low, up = marks
    seen[root] = low[root] = len(order)
    order.append(root)
    stack = [(root, iter(near[root]))]
    while stack:
        node, rest = stack[-1]
        for e, other in rest:
            if e == up[node]:
                continue
            if seen[other] >= 0:
                low[node] = min(low[node], seen[other])
                continue
            up[other] = e
            seen[other] = low[other] = len(order)
            order.append(other)
            stack.append((other, iter(near[other])))
            break
        else:
            stack.pop()
            if stack:
                above = stack[-1][0]
                low[above] = min(low[above], low[node])
                bridge[up[node]] = low[node] > seen[above]


def fill_in(net: Network, given: Given, amount: Vector) -> Vector:
    """Amounts of the bridges from the balances.

    Parameters
    ----------
    net : Network
        The streams.
    given : Given
        Its bridges.
    amount : array
        Amounts of all streams; 0 for the unmeasured ones. May have several columns.

    Returns
    -------
    array
        The same with the bridges filled in.
    """
    out = amount.copy()
    flat = amount.reshape(len(amount), -1)
    lack = np.stack([net.inflow(column) for column in flat.T], axis=1)
    table = out.reshape(flat.shape)
    for node, e in zip(reversed(given.order), reversed(given.up), strict=True):
        if e < 0:
            continue
        away = int(net.start[e]) == node
        above = int(net.end[e]) if away else int(net.start[e])
        if given.bridge[e]:
            table[e] = lack[node] if away else -lack[node]
        lack[above] += lack[node]
    return out
