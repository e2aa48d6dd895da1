"""Where a lot came from or where it went, with shares and kilograms, in a book or given edges."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Literal, Self

from pydantic import AwareDatetime, Field, model_validator

from wareleaf.measure.errors import BadInput
from wareleaf.works.doors import DoorInput, DoorOutput, called_from_afar

if TYPE_CHECKING:
    from wareleaf.book import Trace
    from wareleaf.works.doors._trace_book import Traced


class EdgeIn(DoorInput):
    """One parent of one lot."""

    parent: str = Field(min_length=1)
    child: str = Field(min_length=1)
    dry_kg: float = Field(gt=0.0, description="Dry matter of the child that came from the parent.")
    event_id: str = ""


class Input(DoorInput):
    """A lot and which way to go: in a book, or in a list of edges."""

    lot_id: str = Field(min_length=1)
    direction: Literal["back", "forward"] = "back"
    book: str | None = Field(
        None,
        description="A works folder, a book file or a postgresql:// URL. Not over HTTP.",
    )
    known_at: AwareDatetime | None = Field(
        None, description="With a book: as known on that day, from what was recorded by then."
    )
    edges: list[EdgeIn] | None = Field(None, max_length=2_000_000)
    dry_kg: float | None = Field(
        None, gt=0.0, description="With edges: dry matter of the lot; else what its edges say."
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.book is None) == (self.edges is None):
            raise ValueError("give exactly one of book and edges")
        if self.book is None and self.known_at is not None:
            raise ValueError("known_at goes with a book")
        if self.edges is None and self.dry_kg is not None:
            raise ValueError("dry_kg goes with edges; a book knows it")
        return self


class NodeOut(DoorInput):
    """A lot on the way.

    ``share`` back is the part of the traced lot that came through this lot; forward it is the part
    of this lot that came from the traced one. ``kg`` and what follows come from a book.
    """

    lot_id: str
    share: float
    dry_kg: float
    level: int
    end: bool
    kg: float | None = None
    form: str | None = None
    place: str | None = None
    status: str | None = None


class EdgeOut(DoorInput):
    """Dry matter of the trace that went from a lot into another, kg."""

    parent: str
    child: str
    event_id: str
    dry_kg: float


class OriginOut(DoorInput):
    """A line, field or other source behind the lot, with the lots that came in from it."""

    source: str
    name: str
    share: float
    dry_kg: float
    lots: list[str]


class ReceiptOut(DoorInput):
    """A shipment that carried leaf of the traced lot, and what of it came back."""

    event_id: str
    lot_id: str
    customer: str
    market: str
    shipped_at: datetime
    kg: float
    dry_from_lot_kg: float
    document: str
    returned_kg: float = 0.0


class Output(DoorOutput):
    """Lots by level, the traced one first; ``origins`` only back, ``receipts`` from a book."""

    lot_id: str
    direction: str
    nodes: list[NodeOut]
    edges: list[EdgeOut]
    origins: list[OriginOut] = Field(default_factory=list)
    receipts: list[ReceiptOut] = Field(default_factory=list)


def run(data: Input) -> Output:
    """Compute the door."""
    if data.book is None:
        return _from_edges(data)
    if called_from_afar():
        raise BadInput(
            "book",
            data.book,
            "A book is opened only on its own machine, by the command line; give edges instead.",
        )
    from wareleaf.works.doors import _trace_book

    traced = _trace_book.from_book(
        data.book,
        data.lot_id,
        back=data.direction == "back",
        known_at=data.known_at,
        shipments=data.direction == "forward",
    )
    out = _output(traced.trace)
    for node in out.nodes:
        lot = traced.lots[node.lot_id]
        node.kg = lot.mass_g / 1000.0
        node.form, node.place, node.status = lot.form, lot.place, lot.status
    if data.direction == "back":
        out.origins = _origins(out.nodes, _sources(traced), traced.names.sources)
    out.receipts = _receipts(traced)
    return out


def _output(trace: Trace) -> Output:
    return Output(
        lot_id=trace.lot_id,
        direction=trace.direction,
        nodes=[
            NodeOut(
                lot_id=n.lot_id, share=n.share, dry_kg=n.dry_g / 1000.0, level=n.level, end=n.end
            )
            for n in trace.nodes
        ],
        edges=[
            EdgeOut(parent=e.parent, child=e.child, event_id=e.event_id, dry_kg=e.dry_g / 1000.0)
            for e in trace.edges
        ],
        sources=[
            "A new lot is made of its parents in proportion to the dry matter drawn from each: "
            "leaf within a lot is taken as well mixed (our own rule, docs/understand/the-book.md)."
        ],
    )


def _from_edges(data: Input) -> Output:
    from wareleaf.book import Edge, trace_back, trace_forward

    assert data.edges is not None
    made: defaultdict[str, float] = defaultdict(float)
    drawn: defaultdict[str, float] = defaultdict(float)
    for edge in data.edges:
        made[edge.child] += edge.dry_kg
        drawn[edge.parent] += edge.dry_kg
    if data.lot_id not in made and data.lot_id not in drawn:
        raise BadInput("lot_id", data.lot_id, f"No edge names the lot {data.lot_id}.")
    edges = [
        Edge(
            e.parent,
            e.child,
            e.event_id,
            e.dry_kg / made[e.child],
            1000.0 * e.dry_kg,
            round(1000.0 * e.dry_kg),
            1.0,
        )
        for e in data.edges
    ]
    back = data.direction == "back"
    whole = data.dry_kg if data.dry_kg is not None else made[data.lot_id] or drawn[data.lot_id]
    trace = (trace_back if back else trace_forward)(edges, data.lot_id, 1000.0 * whole)
    out = _output(trace)
    if back:
        out.origins = _origins(out.nodes, {n.lot_id: n.lot_id for n in out.nodes}, {})
    if data.dry_kg is not None:
        out.warnings += _disagreements(data, made[data.lot_id], drawn[data.lot_id])
    return out


def _disagreements(data: Input, made_kg: float, drawn_kg: float) -> list[str]:
    """Where the stated dry matter of the lot and its edges do not fit."""
    assert data.dry_kg is not None
    found = []
    if made_kg and abs(made_kg - data.dry_kg) > 1e-6 * data.dry_kg:
        found.append(
            f"The edges into {data.lot_id} carry {made_kg:g} kg of dry matter, but dry_kg is "
            f"{data.dry_kg:g}; shares follow the edges, kilograms follow dry_kg."
        )
    if drawn_kg > data.dry_kg * (1.0 + 1e-6):
        found.append(
            f"The edges out of {data.lot_id} carry {drawn_kg:g} kg of dry matter, more than its "
            f"{data.dry_kg:g} kg."
        )
    return found


def _sources(traced: Traced) -> dict[str, str]:
    return {k: str(lot.attributes.get("source", "unknown")) for k, lot in traced.lots.items()}


def _origins(
    nodes: list[NodeOut], source_of: Mapping[str, str], names: Mapping[str, str]
) -> list[OriginOut]:
    gathered: dict[str, list[NodeOut]] = {}
    for node in nodes:
        if node.end:
            gathered.setdefault(source_of[node.lot_id], []).append(node)
    origins = [
        OriginOut(
            source=source,
            name=names.get(source, source),
            share=sum(n.share for n in ends),
            dry_kg=sum(n.dry_kg for n in ends),
            lots=[n.lot_id for n in ends],
        )
        for source, ends in gathered.items()
    ]
    return sorted(origins, key=lambda o: (-o.share, o.source))


def _receipts(traced: Traced) -> list[ReceiptOut]:
    from wareleaf.works.returns import returned_of

    share = {n.lot_id: n.share for n in traced.trace.nodes}
    names = traced.names.customers
    ships = [e for e in traced.shipments if e.kind == "ship"]
    back = returned_of(ships, [e for e in traced.shipments if e.kind == "receive_back"])
    return [
        ReceiptOut(
            event_id=e.event_id,
            lot_id=d.lot_id,
            customer=names.get(e.facts["customer"], str(e.facts["customer"])),
            market=str(e.facts["market"]),
            shipped_at=e.happened_at,
            kg=d.mass_g / 1000.0,
            dry_from_lot_kg=d.dry_g * share[d.lot_id] / 1000.0,
            document=e.document,
            returned_kg=back.pop((e.event_id, d.lot_id), (0, 0))[0] / 1000.0,
        )
        for e in ships
        for d in e.inputs
        if d.lot_id in share
    ]
