"""Ship packed or bulk lots to a customer whose market they are released for."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, draw, record


def ship(
    works: Works,
    who: str,
    customer_id: str,
    lots_kg: Mapping[str, float | None],
    *,
    vehicle: str = "",
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> Event:
    """Record a shipment: kilograms by lot (None for all that remains).

    The book refuses a lot that is held or not released for the customer's market; nothing is
    written then.
    """
    require(bool(lots_kg), "lots_kg", {}, "A shipment names at least one lot.")
    customer = works.settings.customer_of(customer_id)
    lots = [works.book.lot(lot_id) for lot_id in lots_kg]
    sites = {lot.site for lot in lots}
    require(
        len(sites) == 1,
        "lots_kg",
        sorted(sites),
        "A shipment leaves one site; record one for each.",
    )
    site = sites.pop()
    acting(works, who, "ship", site)
    for lot in lots:
        _refuse_held_origin(works, lot.lot_id)
    return record(
        works,
        Entry(
            kind="ship",
            site=site,
            who=who,
            place="dispatch",
            why=note,
            document=document,
            happened_at=happened_at,
            inputs=tuple(draw(lot, lots_kg[lot.lot_id]) for lot in lots),
            facts={
                "customer": customer.id,
                "market": customer.market,
                "vehicle": vehicle,
                "contact": customer.contact,
            },
        ),
    )


def _refuse_held_origin(works: Works, lot_id: str) -> None:
    """A hold on leaf reaches what was made of it, also when it was made before the hold."""
    held = [lot for lot in works.book.held_above(lot_id) if lot.lot_id != lot_id]
    if held:
        first = held[0]
        raise BadInput(
            "lots_kg",
            lot_id,
            f"{lot_id} was made of {first.lot_id}, which is on hold: {first.held_because}",
        )
