"""Leaf that a customer sends back: what came back, and how much of each shipment that was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime

from wareleaf.book import Draw, Event, LotState, Made
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, dry_sd_kg, event_of, moisture_sd, new_lot_id

JOB = "receive back"


def receive_back(
    works: Works,
    who: str,
    customer_id: str,
    lots_kg: Mapping[str, float | None],
    because: str,
    *,
    meter: str = "",
    place: str = "returns",
    happened_at: datetime | None = None,
    document: str = "",
    note: str = "",
) -> list[LotState]:
    """Receive back leaf of shipped lots; each becomes a new lot that is on hold.

    Parameters
    ----------
    customer_id : str
        Who sends it back.
    lots_kg : mapping
        Kilograms that came back of each lot; None for all that the customer has of it.
    because : str
        Why; it stands on the new lots.
    meter : str
        The scale.

    Raises
    ------
    BadInput
        For more than the customer has of a lot, or a return before its shipment.
    """
    require(bool(lots_kg), "lots_kg", {}, "Name at least one lot that came back.")
    require(
        bool(because.strip()), "because", because, "because is empty; say why it was sent back."
    )
    customer = works.settings.customer_of(customer_id)
    lots = [works.book.lot(lot_id) for lot_id in lots_kg]
    at = happened_at or works.now()
    facts = {"customer": customer.id, "because": because.strip(), "meter": meter}
    events = []
    for lot in lots:
        acting(works, who, JOB, lot.site)
        refuse_before_shipment(works, lot.lot_id, customer.id, at)
        drawn, mass_g, sd_g = _weighed(works, lot, customer.id, lots_kg[lot.lot_id], meter)
        entry = Entry(
            kind="receive_back",
            site=lot.site,
            who=who,
            place=place,
            why=note,
            document=document,
            happened_at=at,
            inputs=(drawn,),
            outputs=(_made(works, lot, drawn, mass_g, sd_g, place, at),),
            facts=facts,
        )
        events.append(event_of(works, entry))
    works.book.append_many(events, now=works.now())
    return [works.book.lot(e.outputs[0].lot_id) for e in events]


def refuse_before_shipment(works: Works, lot_id: str, customer: str, at: datetime) -> None:
    """Refuse a return from a customer before a lot was first shipped to them.

    Raises
    ------
    BadInput
        With one sentence.
    """
    sent = [
        e.happened_at
        for e in works.book.events_in_force(kind="ship", lot_id=lot_id)
        if e.facts["customer"] == customer
    ]
    require(
        not sent or min(sent) <= at,
        "happened_at",
        at.isoformat(),
        f"{lot_id} would come back at {at:%Y-%m-%d %H:%M}, before it was first shipped to "
        f"{customer}.",
    )


def _weighed(
    works: Works, lot: LotState, customer: str, mass_kg: float | None, meter: str
) -> tuple[Draw, int, float]:
    """What is drawn from the customer, what came in by our scale, and its uncertainty, grams."""
    has_g, has_dry_g = lot.away.get(customer, (0, 0))
    if not has_g:
        raise BadInput(
            "lots_kg",
            lot.lot_id,
            f"{customer} has nothing of {lot.lot_id}: it was not shipped to them, or all of it "
            "came back.",
        )
    if mass_kg is None:
        return Draw(lot.lot_id, has_g, has_dry_g), has_g, lot.mass_sd_g * has_g / lot.mass_g
    require(mass_kg > 0.0, "lots_kg", mass_kg, f"{mass_kg:g} kg came back: it must be above 0.")
    sd_kg = 0.002 * mass_kg
    if meter:
        sd_kg = works.settings.meter_at(lot.site, meter, "mass_kg").sd(mass_kg)
    mass_g, sd_g = round(mass_kg * 1000.0), sd_kg * 1000.0
    off_g = (sd_g**2 + (lot.mass_sd_g * has_g / lot.mass_g) ** 2) ** 0.5
    if mass_g > has_g + 3.0 * off_g:  # more than two scales can be off (common practice)
        raise BadInput(
            "lots_kg",
            mass_kg,
            f"{mass_kg:g} kg of {lot.lot_id} would come back from {customer}, who has "
            f"{has_g / 1000.0:g} kg of it; no more can come back than was shipped to them.",
        )
    drawn_g = min(mass_g, has_g)
    return Draw(lot.lot_id, drawn_g, round(has_dry_g * drawn_g / has_g)), mass_g, sd_g


def _made(
    works: Works, lot: LotState, drawn: Draw, mass_g: int, sd_g: float, place: str, at: datetime
) -> Made:
    attributes = dict(lot.attributes)
    packs = attributes.get("packs")
    if isinstance(packs, int):
        attributes["packs"] = max(round(packs * mass_g / lot.mass_g), 1)
    wet = 1.0 - drawn.dry_g / drawn.mass_g
    return Made(
        lot_id=new_lot_id(works, lot.site, at),
        leaf=lot.leaf,
        form=lot.form,
        place=place,
        mass_g=mass_g,
        dry_g=round(mass_g * (1.0 - wet)),
        mass_sd_g=sd_g,
        dry_sd_g=dry_sd_kg(mass_g, sd_g, wet, moisture_sd(lot)),  # grams throughout
        label=lot.label,
        attributes=attributes,
    )


def returned_of(
    ships: Iterable[Event], returns: Iterable[Event]
) -> dict[tuple[str, str], tuple[int, int]]:
    """How much of each shipment came back, by shipment and lot: (mass, dry matter), grams.

    A return is counted against the customer's latest shipments of the lot before it, the newest
    first; which packs came back is not told by their number.

    Parameters
    ----------
    ships, returns : iterable of Event
        In force.
    """
    sent: dict[tuple[str, str], list[Event]] = defaultdict(list)
    left: dict[tuple[str, str], list[int]] = {}
    for ship in sorted(ships, key=lambda e: e.happened_at):
        for d in ship.inputs:
            key = (ship.event_id, d.lot_id)
            if key not in left:
                sent[d.lot_id, str(ship.facts["customer"])].append(ship)
            has = left.setdefault(key, [0, 0])
            has[0], has[1] = has[0] + d.mass_g, has[1] + d.dry_g
    back: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    for event in sorted(returns, key=lambda e: e.happened_at):
        for d in event.inputs:
            earlier = sent[d.lot_id, str(event.facts["customer"])]
            before = [s for s in earlier if s.happened_at <= event.happened_at]
            later = [s for s in earlier if s.happened_at > event.happened_at]
            rest = [d.mass_g, d.dry_g]
            for ship in (*reversed(before), *later):
                key = (ship.event_id, d.lot_id)
                for i in (0, 1):
                    part = min(rest[i], left[key][i])
                    rest[i], left[key][i] = rest[i] - part, left[key][i] - part
                    back[key][i] += part
    return {k: (v[0], v[1]) for k, v in back.items() if v != [0, 0]}
