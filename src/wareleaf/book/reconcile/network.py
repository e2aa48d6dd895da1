"""The streams as a network.

For streams between nodes the classes follow from the graph alone (Vaclavek 1969; Mah, Stanley and
Downing 1976; both from memory; the tests compare with ranks of matrices). The border is a node too.
Join the nodes that unmeasured streams connect: a measured stream that then starts and ends at the
same place is checked by nothing. An unmeasured stream is given by the balances when it lies on no
ring of unmeasured streams (see `forest`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
        """What comes in less what goes out at every node, the border too; also of columns."""
        if amount.ndim > 1:
            return np.stack([self.inflow(column) for column in amount.T], axis=1)
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
