"""What some lots were made of, as arrays: the form in which a genealogy is kept and passed on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wareleaf.book.tracing import Edge


@dataclass(frozen=True, eq=False)
class LineagePart:
    """All that some lots, the children, were made of. Complete in itself.

    Parameters
    ----------
    lots : sequence of str
        Lot ids: the children, then parents that are not children here.
    made_by : sequence of str
        The event that made each child; empty for one that is gone.
    counts : array of int32
        How many parents each child has; 0 for one made of nothing in the book, or gone.
    parents : array of int32
        Places in ``lots``, child by child.
    shares, dry_g : array of float
        As in `Edge`, in the same order.
    """

    lots: tuple[str, ...]
    made_by: tuple[str, ...]
    counts: NDArray[np.int32]
    parents: NDArray[np.int32]
    shares: NDArray[np.float64]
    dry_g: NDArray[np.float64]

    @classmethod
    def of_edges(cls, edges: Iterable[Edge], gone: Iterable[str] = ()) -> LineagePart:
        """From edges, and from lots that have none any more.

        Parameters
        ----------
        edges : iterable of Edge
            All edges of each child.
        gone : iterable of str
            Children without edges; those that have some are left to them.
        """
        into: dict[str, list[Edge]] = {}
        for edge in edges:
            into.setdefault(edge.child, []).append(edge)
        for lot_id in gone:
            into.setdefault(lot_id, [])
        place = {lot_id: n for n, lot_id in enumerate(into)}
        many = [e for group in into.values() for e in group]
        parents = [place.setdefault(e.parent, len(place)) for e in many]
        return cls(
            lots=tuple(place),
            made_by=tuple(group[0].event_id if group else "" for group in into.values()),
            counts=np.array([len(group) for group in into.values()], dtype=np.int32),
            parents=np.array(parents, dtype=np.int32),
            shares=np.array([e.share for e in many], dtype=np.float64),
            dry_g=np.array([e.dry_g for e in many], dtype=np.float64),
        )
