"""Where a lot came from and where it went, with shares by dry matter.

An edge says how much of a lot was made from which other lot. Back from a lot, its dry matter is
divided over its parents in proportion to the dry matter drawn from each, and so on up to lots that
were made from nothing in the book; those source shares add up to one. Forward, the dry matter of a
lot is followed into its descendants. Losses carry the mix of the event in which they arose.

`trace_back` and `trace_forward` here are the plain form, for a handful of edges at hand; a stored
book asks its `wareleaf.book.lineage.Lineage`, and tests hold that the two agree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple, NoReturn

from wareleaf.book.event import Event
from wareleaf.book.kinds import SHAPES
from wareleaf.measure.errors import BadInput


class Edge(NamedTuple):
    """One parent of one lot.

    Parameters
    ----------
    parent, child : str
        Lot ids.
    event_id : str
        The event that made the child.
    share : float
        Part of the child's dry matter that came from this parent, 0 to 1.
    dry_g : float
        The same in grams of the child's dry matter.
    drawn_dry_g : int
        Dry matter drawn from the parent in the event, over all children.
    drawn_share : float
        Part of what was drawn that went to this child (the rest went to its sisters).
    """

    parent: str
    child: str
    event_id: str
    share: float
    dry_g: float
    drawn_dry_g: int
    drawn_share: float


class Node(NamedTuple):
    """A lot in a trace.

    Parameters
    ----------
    lot_id : str
        The lot.
    share : float
        Back: part of the traced lot's dry matter that came through this lot. Forward: part of
        this lot's dry matter that came from the traced lot.
    dry_g : float
        The same in grams (of the traced lot back, of this lot forward).
    level : int
        Longest number of steps from the traced lot.
    end : bool
        True where the trace ends: a source back, a lot with no descendants forward.
    """

    lot_id: str
    share: float
    dry_g: float
    level: int
    end: bool


class TraceEdge(NamedTuple):
    """An edge in a trace, with the traced dry matter that passes over it, grams."""

    parent: str
    child: str
    event_id: str
    dry_g: float


class Trace:
    """All lots that a lot came from or went into. Its nodes and edges are made when asked for.

    Parameters
    ----------
    lot_id : str
        The traced lot.
    direction : str
        ``back`` or ``forward``.
    nodes : callable
        Gives the nodes by level, the traced lot first.
    edges : callable
        Gives the edges between them.
    """

    def __init__(
        self,
        lot_id: str,
        direction: str,
        nodes: Callable[[], tuple[Node, ...]],
        edges: Callable[[], tuple[TraceEdge, ...]],
    ):
        self.lot_id, self.direction = lot_id, direction
        self._nodes, self._edges = nodes, edges

    @cached_property
    def nodes(self) -> tuple[Node, ...]:
        """By level, the traced lot first."""
        return self._nodes()

    @cached_property
    def edges(self) -> tuple[TraceEdge, ...]:
        """Between the nodes."""
        return self._edges()

    @cached_property
    def levels(self) -> tuple[tuple[str, ...], ...]:
        """Lot ids by level."""
        groups = groupby(self.nodes, key=attrgetter("level"))
        return tuple(tuple(n.lot_id for n in group) for _, group in groups)

    @cached_property
    def _by_id(self) -> dict[str, Node]:
        return {n.lot_id: n for n in self.nodes}

    @property
    def ends(self) -> tuple[Node, ...]:
        """Where the trace ends: the sources back, the last lots forward."""
        return tuple(n for n in self.nodes if n.end)

    def node(self, lot_id: str) -> Node:
        """One node by lot id.

        Raises
        ------
        KeyError
            For a lot that the trace does not reach.
        """
        return self._by_id[lot_id]


def edges_of(event: Event) -> tuple[Edge, ...]:
    """The genealogy that an event in force adds.

    Every new lot is made of all inputs in proportion to the dry matter drawn (to the mass, where
    nothing drawn has dry matter).
    """
    if not event.inputs or not event.outputs or not SHAPES[event.kind].outputs[1]:
        return ()
    drawn: dict[str, tuple[int, int]] = {}
    for d in event.inputs:
        mass, dry = drawn.get(d.lot_id, (0, 0))
        drawn[d.lot_id] = (mass + d.mass_g, dry + d.dry_g)
    by_dry = sum(dry for _, dry in drawn.values()) > 0
    total_in = sum(dry if by_dry else mass for mass, dry in drawn.values())
    out_by_dry = sum(m.dry_g for m in event.outputs) > 0
    total_out = sum(m.dry_g if out_by_dry else m.mass_g for m in event.outputs)
    edges = []
    for made in event.outputs:
        part = (made.dry_g if out_by_dry else made.mass_g) / total_out
        for parent, (mass, dry) in drawn.items():
            share = (dry if by_dry else mass) / total_in
            edges.append(
                Edge(parent, made.lot_id, event.event_id, share, made.dry_g * share, dry, part)
            )
    return tuple(edges)


def _levels(start: str, steps: Mapping[str, list[str]]) -> dict[str, int]:
    """Longest distance from the start of all that is reached from it; refuses a cycle.

    The lots come in an order in which each stands after all that lead to it.
    """
    waits = {start: 0}
    todo = [start]
    while todo:
        for other in steps.get(todo.pop(), ()):
            if other in waits:
                waits[other] += 1
            else:
                waits[other] = 1
                todo.append(other)
    level: dict[str, int] = {}
    ready, depth = [start] if waits[start] == 0 else [], 0
    while ready:
        ready.sort()
        above: list[str] = []
        for lot in ready:
            level[lot] = depth
            for other in steps.get(lot, ()):
                waits[other] -= 1
                if waits[other] == 0:
                    above.append(other)
        ready, depth = above, depth + 1
    if len(level) < len(waits):
        refuse_cycle(min(k for k, n in waits.items() if n > 0))
    return level


def refuse_cycle(lot_id: str) -> NoReturn:
    """Refuse a lot that would be made of itself."""
    raise BadInput("lot_id", lot_id, f"Lot {lot_id} is among its own ancestors; trace is refused.")


def trace_back(edges: Iterable[Edge], lot_id: str, dry_g: float | None = None) -> Trace:
    """Everything a lot was made of.

    Parameters
    ----------
    edges : iterable of Edge
        At least all edges above the lot; others are ignored.
    lot_id : str
        The lot.
    dry_g : float, optional
        Its dry matter; without it, taken from the edges (0 for a source).

    Returns
    -------
    Trace
        The shares of its sources add up to 1.

    Raises
    ------
    BadInput
        For a cycle.
    """
    into: dict[str, list[Edge]] = {}
    for edge in edges:
        into.setdefault(edge.child, []).append(edge)
    level = _levels(lot_id, {child: [e.parent for e in es] for child, es in into.items()})
    whole = sum(e.dry_g for e in into.get(lot_id, ())) if dry_g is None else dry_g
    share = dict.fromkeys(level, 0.0)
    share[lot_id] = 1.0
    passed: list[TraceEdge] = []
    for child in level:
        own = share[child]
        for edge in into.get(child, ()):
            part = own * edge.share
            share[edge.parent] += part
            passed.append(TraceEdge(edge.parent, child, edge.event_id, part * whole))
    nodes = tuple(Node(k, share[k], share[k] * whole, n, k not in into) for k, n in level.items())
    return Trace(lot_id, "back", lambda: nodes, lambda: tuple(passed))


def trace_forward(edges: Iterable[Edge], lot_id: str, dry_g: float | None = None) -> Trace:
    """Everything that was made of a lot.

    Parameters
    ----------
    edges : iterable of Edge
        At least all edges below the lot; others are ignored.
    lot_id : str
        The lot.
    dry_g : float, optional
        Its dry matter, for its own node; 0 without it.

    Raises
    ------
    BadInput
        For a cycle.
    """
    out: dict[str, list[Edge]] = {}
    for edge in edges:
        out.setdefault(edge.parent, []).append(edge)
    level = _levels(lot_id, {parent: [e.child for e in es] for parent, es in out.items()})
    came = dict.fromkeys(level, 0.0)
    share = dict.fromkeys(level, 0.0)
    came[lot_id], share[lot_id] = dry_g or 0.0, 1.0
    passed: list[TraceEdge] = []
    for parent in level:
        own = share[parent]
        for edge in out.get(parent, ()):
            amount = own * edge.dry_g
            came[edge.child] += amount
            share[edge.child] += own * edge.share
            passed.append(TraceEdge(parent, edge.child, edge.event_id, amount))
    nodes = tuple(Node(k, share[k], came[k], n, k not in out) for k, n in level.items())
    return Trace(lot_id, "forward", lambda: nodes, lambda: tuple(passed))
