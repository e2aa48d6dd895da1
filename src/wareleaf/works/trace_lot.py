"""Trace a lot: which line or field each gram came from, and who received what was made of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import LotState, Trace
from wareleaf.works.house import Works
from wareleaf.works.returns import returned_of
from wareleaf.works.sight import Sight, sight


@dataclass(frozen=True)
class Origin:
    """One line or field in a lot: its share of the dry matter, and the intake lots behind it."""

    source_id: str
    name: str
    share: float
    dry_kg: float
    lots: tuple[str, ...]


@dataclass(frozen=True)
class Receipt:
    """One shipment that carried leaf of the traced lot, and what of it came back."""

    lot_id: str
    customer: str
    market: str
    shipped_at: datetime
    mass_kg: float
    dry_from_lot_kg: float
    document: str
    contact: str
    returned_kg: float = 0.0

    @property
    def net_kg(self) -> float:
        """What the customer still has of it, kg."""
        return self.mass_kg - self.returned_kg


@dataclass(frozen=True)
class TraceView:
    """A lot's history both ways, with the lots it passes through.

    ``known_at`` is the moment whose knowledge is shown, None for all that is known now.
    """

    lot: LotState
    back: Trace
    forward: Trace
    lots: Mapping[str, LotState]
    origins: tuple[Origin, ...]
    receipts: tuple[Receipt, ...]
    in_stock: tuple[tuple[LotState, float], ...]
    known_at: datetime | None = None


def trace(works: Works, lot_id: str, known_on: datetime | None = None) -> TraceView:
    """Trace a lot back to its lines and fields and forward to its customers.

    With ``known_on`` as it was known at that moment: what was recorded or corrected later is left
    out.

    Raises
    ------
    BadInput
        For a lot that is, or was then, unknown, or a moment that `sight` refuses.
    """
    seen = sight(works, known_on)
    book = seen.book
    lot = book.lot(lot_id)
    back, forward = book.trace_back(lot_id), book.trace_forward(lot_id)
    ids = [n.lot_id for n in (*back.nodes, *forward.nodes)]
    lots = {each.lot_id: each for each in book.lots(ids=list(dict.fromkeys(ids)))}
    return TraceView(
        lot=lot,
        back=back,
        forward=forward,
        lots=lots,
        origins=_origins(works, back, lots),
        receipts=_receipts(seen, forward, lots),
        in_stock=tuple(
            (lots[n.lot_id], n.share) for n in forward.nodes if lots[n.lot_id].remaining_mass_g > 0
        ),
        known_at=seen.at if seen.past else None,
    )


def _origins(works: Works, back: Trace, lots: Mapping[str, LotState]) -> tuple[Origin, ...]:
    gathered: dict[str, list[tuple[str, float, float]]] = {}
    for node in back.ends:
        source = str(lots[node.lot_id].attributes.get("source", "unknown"))
        gathered.setdefault(source, []).append((node.lot_id, node.share, node.dry_g / 1000.0))
    names = {s.id: s.name for s in works.settings.source}
    origins = [
        Origin(
            source_id=source,
            name=names.get(source, source),
            share=sum(share for _, share, _ in parts),
            dry_kg=sum(dry for _, _, dry in parts),
            lots=tuple(lot for lot, _, _ in parts),
        )
        for source, parts in gathered.items()
    ]
    return tuple(sorted(origins, key=lambda o: -o.share))


def _receipts(seen: Sight, forward: Trace, lots: Mapping[str, LotState]) -> tuple[Receipt, ...]:
    names = {c.id: c.name for c in seen.settings.customer}
    found = []
    for node in forward.nodes:
        if not lots[node.lot_id].shipped_mass_g:
            continue
        moved = seen.book.events_in_force(kind=("ship", "receive_back"), lot_id=node.lot_id)
        ships = [e for e in moved if e.kind == "ship"]
        back = returned_of(ships, [e for e in moved if e.kind == "receive_back"])
        for event in ships:
            for drawn in event.inputs:
                if drawn.lot_id != node.lot_id:
                    continue
                facts = event.facts
                found.append(
                    Receipt(
                        lot_id=node.lot_id,
                        customer=str(names.get(facts["customer"], facts["customer"])),
                        market=facts["market"],
                        shipped_at=event.happened_at,
                        mass_kg=drawn.mass_g / 1000.0,
                        dry_from_lot_kg=drawn.dry_g * node.share / 1000.0,
                        document=event.document,
                        contact=str(facts.get("contact", "")),
                        returned_kg=back.pop((event.event_id, node.lot_id), (0, 0))[0] / 1000.0,
                    )
                )
    return tuple(sorted(found, key=lambda r: r.shipped_at))
