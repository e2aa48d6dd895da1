"""Gather the dossier of a lot: everything the book says of it and what that rests on.

Plain data; `wareleaf.reports.dossier` sets it on paper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState
from wareleaf.release import Assessment, Result
from wareleaf.store import VerifyReport
from wareleaf.works.bench import results_of
from wareleaf.works.dossier_cautions import cautions_for
from wareleaf.works.dossier_steps import Measured, Step, lineage_events, measured_on, steps_of
from wareleaf.works.house import Works
from wareleaf.works.release_lot import assess_all
from wareleaf.works.trace_lot import Origin, Receipt, TraceView, trace
from wareleaf.works.whereabouts import Whereabouts, whereabouts


@dataclass(frozen=True)
class Ticket:
    """One load behind the lot.

    Parameters
    ----------
    lot_id, source, grower : str
        Intake lot, line or field, who grew it.
    at : datetime
        Arrival.
    cut_at : str
        When it was cut, as recorded.
    net_kg, net_sd_kg : float
        As booked.
    moisture_wb, moisture_sd : float
        As booked, fraction.
    moisture_by : str
        Meter, or that it was assumed.
    ticket_kg : float or None
        From the grower's ticket.
    share : float
        Of the dry matter of the dossier's lot.
    dry_kg : float
        Of it, in the lot.
    document, who : str
        Paper and person.
    """

    lot_id: str
    source: str
    grower: str
    at: datetime
    cut_at: str
    net_kg: float
    net_sd_kg: float
    moisture_wb: float
    moisture_sd: float
    moisture_by: str
    ticket_kg: float | None
    share: float
    dry_kg: float
    document: str
    who: str


@dataclass(frozen=True)
class Signed:
    """A hold, a release or the end of a hold on the lot or on what it was made of."""

    kind: str
    at: datetime
    lot_id: str
    who: str
    role: str
    markets: tuple[str, ...]
    words: str
    document: str
    decisions: tuple[dict[str, object], ...]


@dataclass(frozen=True)
class Basis:
    """One number that the models rest on: name, value with unit, evidence, citation."""

    quantity: str
    value: float
    unit: str
    evidence: str
    cite: str
    note: str


@dataclass(frozen=True)
class Sealed:
    """One event behind the dossier, by its place and hash in the book."""

    sequence: int
    kind: str
    at: datetime
    who: str
    hash: str
    superseded_by: str


@dataclass(frozen=True)
class Dossier:
    """A lot with its whole history.

    ``meters`` are names by id. ``head_at`` is when the book last grew; the document bears that
    date, so that the same book gives the same document.
    """

    firm: str
    site: str
    lot: LotState
    leaf_name: str
    product: str
    moisture_sd: float
    origins: tuple[Origin, ...]
    tickets: tuple[Ticket, ...]
    steps: tuple[Step, ...]
    measured: tuple[Measured, ...]
    results: tuple[tuple[str, Result, Event], ...]
    meters: Mapping[str, str]
    signed: tuple[Signed, ...]
    standing: tuple[Assessment, ...]
    receipts: tuple[Receipt, ...]
    whereabouts: Whereabouts
    evidence_sentence: str
    basis: tuple[Basis, ...]
    model_sources: tuple[str, ...]
    cautions: tuple[str, ...]
    sealed: tuple[Sealed, ...]
    verified: VerifyReport
    tree_size: int
    tree_root: str
    head_at: datetime


def dossier(works: Works, lot_id: str) -> Dossier:
    """Gather the dossier of a lot.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    lot = works.book.lot(lot_id)
    view = trace(works, lot_id)
    events = lineage_events(works, view)
    profile = leaves.profile(lot.leaf)
    steps = steps_of(works, events, view)
    size, root = works.book.tree_root()
    head = works.book.events(limit=1, newest_first=True)[0].event
    products = {p.id: p.name for p in works.settings.product}
    return Dossier(
        firm=works.settings.firm.name,
        site=works.settings.site_of(lot.site).name,
        lot=lot,
        leaf_name=profile.name,
        product=products.get(str(lot.attributes.get("product", "")), ""),
        moisture_sd=lot.dry_sd_g / lot.mass_g,
        origins=view.origins,
        tickets=_tickets(works, events, view),
        steps=steps,
        measured=measured_on(works, view, steps),
        results=tuple(results_of(works, lot_id)),
        meters={m.id: m.name for m in works.settings.meter},
        signed=_signed(works, events),
        standing=tuple(assess_all(works, lot_id)),
        receipts=view.receipts,
        whereabouts=whereabouts(view),
        evidence_sentence=leaves.evidence_sentence(profile, "desorption"),
        basis=_basis(view),
        model_sources=tuple(leaves.sorption_sources(profile, "desorption")),
        cautions=cautions_for(profile.crop, lot.form, {s.stage for s in steps}),
        sealed=_sealed(works, view),
        verified=works.book.verify(),
        tree_size=size,
        tree_root=root,
        head_at=head.recorded_at,
    )


def _tickets(works: Works, events: Sequence[Event], view: TraceView) -> tuple[Ticket, ...]:
    places = {s.id: s for s in works.settings.source}
    shares = {node.lot_id: node for node in view.back.nodes}
    found = []
    for event in events:
        if event.kind != "intake":
            continue
        for made in event.outputs:
            node = shares.get(made.lot_id)
            if node is None:
                continue
            facts = event.facts
            place = places.get(str(facts.get("source", "")))
            found.append(
                Ticket(
                    lot_id=made.lot_id,
                    source=place.name if place else made.label,
                    grower=place.grower if place else "",
                    at=event.happened_at,
                    cut_at=str(facts.get("cut_at", "")),
                    net_kg=made.mass_g / 1000.0,
                    net_sd_kg=made.mass_sd_g / 1000.0,
                    moisture_wb=(made.mass_g - made.dry_g) / made.mass_g,
                    moisture_sd=float(facts.get("moisture_sd", 0.0)),
                    moisture_by=str(facts.get("moisture_meter", "")),
                    ticket_kg=facts.get("ticket_kg"),
                    share=node.share,
                    dry_kg=node.dry_g / 1000.0,
                    document=event.document,
                    who=_name(works, event.who),
                )
            )
    return tuple(found)


def _name(works: Works, person_id: str) -> str:
    names = {p.id: p.name for p in works.settings.person}
    return names.get(person_id, person_id)


def _signed(works: Works, events: Sequence[Event]) -> tuple[Signed, ...]:
    roles = {p.id: ", ".join(p.roles) for p in works.settings.person}
    return tuple(
        Signed(
            kind=event.kind if event.kind == "hold" or event.facts.get("markets") else "freed",
            at=event.happened_at,
            lot_id=str(event.facts["lot_id"]),
            who=_name(works, event.who),
            role=roles.get(event.who, ""),
            markets=tuple(event.facts.get("markets", ())),
            words=str(event.facts.get("reason") or event.facts.get("note") or event.why),
            document=event.document,
            decisions=tuple(event.facts.get("decisions", ())),
        )
        for event in events
        if event.kind in ("hold", "release")
    )


def _basis(view: TraceView) -> tuple[Basis, ...]:
    """Figures of every leaf profile that the lot passed through, each once."""
    found: dict[tuple[str, str], Basis] = {}
    for leaf_id in sorted({lot.leaf for lot in view.lots.values()}):
        for figure in leaves.profile(leaf_id).figures:
            found.setdefault(
                (figure.subject, figure.quantity),
                Basis(
                    quantity=f"{figure.subject}: {figure.quantity}",
                    value=figure.value,
                    unit=figure.unit,
                    evidence=figure.evidence.value,
                    cite=leaves.source_of(figure).cite(),
                    note=figure.note,
                ),
            )
    return tuple(found.values())


def _sealed(works: Works, view: TraceView) -> tuple[Sealed, ...]:
    found = {}
    for node in view.back.nodes:
        for row in works.book.events(lot_id=node.lot_id):
            found[row.sequence] = Sealed(
                sequence=row.sequence,
                kind=str(row.event.facts.get("kind", row.event.kind))
                + (" (correction)" if row.event.kind == "correction" else ""),
                at=row.event.happened_at,
                who=_name(works, row.event.who),
                hash=row.hash,
                superseded_by=row.superseded_by,
            )
    return tuple(found[sequence] for sequence in sorted(found))
