"""Ship packed or bulk lots to a customer whose market they are released for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from wareleaf.book import Draw, Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.pallets import packs_g, pallet_of
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
    pallets: Sequence[str] = (),
    packs: Mapping[str, int] | None = None,
    happened_at: datetime | None = None,
    note: str = "",
) -> Event:
    """Record a shipment: kilograms by lot (None for all that remains), packs, whole pallets.

    ``lots_kg`` is what goes loose, beside what stands on ``pallets``; ``packs`` the same as a count
    of packs by packed lot.

    The book refuses a lot that is held or not released for the customer's market; nothing is
    written then.
    """
    customer = works.settings.customer_of(customer_id)
    numbers = [pallet_of(works, text).sscc for text in pallets]
    both = sorted(set(lots_kg) & set(packs or {}))
    require(not both, "lots_kg", both, f"{', '.join(both)}: give kilograms or packs, not both.")
    counted = {k: packs_g(works.book.lot(k), n) / 1000.0 for k, n in (packs or {}).items()}
    draws = _draws(works, {**lots_kg, **counted}, numbers)
    require(bool(draws), "lots_kg", {}, "A shipment names at least one lot.")
    lots = [works.book.lot(d.lot_id) for d in draws]
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
            inputs=draws,
            facts={
                "customer": customer.id,
                "market": customer.market,
                "vehicle": vehicle,
                "contact": customer.contact,
                **({"pallets": numbers} if numbers else {}),
                **({"packs": dict(packs)} if packs else {}),
            },
        ),
    )


def _draws(
    works: Works, lots_kg: Mapping[str, float | None], pallets: Sequence[str]
) -> tuple[Draw, ...]:
    """One draw a lot: what goes loose and what stands on the pallets."""
    grams: dict[str, int] = {}
    for sscc in dict.fromkeys(pallets):
        on_it = pallet_of(works, sscc).on_it
        require(bool(on_it), "pallets", sscc, f"Nothing stands on pallet {sscc} now.")
        for lot, mass_g in on_it:
            grams[lot.lot_id] = grams.get(lot.lot_id, 0) + mass_g
    for lot_id, mass_kg in lots_kg.items():
        lot = works.book.lot(lot_id)
        if mass_kg is None:
            rest = lot.loose_g if grams.get(lot_id) else draw(lot).mass_g
        else:
            rest = draw(lot, mass_kg).mass_g
        grams[lot_id] = grams.get(lot_id, 0) + rest
    return tuple(draw(works.book.lot(k), g / 1000.0) for k, g in grams.items())


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
