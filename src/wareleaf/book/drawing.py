"""What a draw does to its lot: taken from stock, sent to a customer, or come back from one.

What comes back is drawn from what the customer has, never from stock, and makes a new lot; so a
lot's stock and its draws stay what they were, and ``away`` says what each customer still has.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from wareleaf.book.event import Draw, Event
from wareleaf.book.forms import kg
from wareleaf.book.lots import LotState
from wareleaf.measure.errors import BadInput


def drawn(lot: LotState, event: Event, draw: Draw) -> LotState:
    """The lot after one draw of an event in force."""
    if event.kind == "receive_back":
        return replace(lot, away=_moved(lot.away, event, -draw.mass_g, -draw.dry_g))
    after = replace(
        lot,
        drawn_mass_g=lot.drawn_mass_g + draw.mass_g,
        drawn_dry_g=lot.drawn_dry_g + draw.dry_g,
        last_drawn_by=event.event_id,
    )
    if event.kind == "ship":
        gone = set(event.facts.get("pallets") or ())
        after = replace(
            after,
            shipped_mass_g=lot.shipped_mass_g + draw.mass_g,
            shipped_dry_g=lot.shipped_dry_g + draw.dry_g,
            away=_moved(lot.away, event, draw.mass_g, draw.dry_g),
            pallets={k: v for k, v in lot.pallets.items() if k not in gone},
        )
    if after.pallets and not after.remaining_mass_g:
        after = replace(after, pallets={})
    return after


def _moved(
    away: Mapping[str, tuple[int, int]], event: Event, mass_g: int, dry_g: int
) -> dict[str, tuple[int, int]]:
    customer = str(event.facts["customer"])
    mass, dry = away.get(customer, (0, 0))
    after = {**away, customer: (mass + mass_g, dry + dry_g)}
    return {k: v for k, v in after.items() if v != (0, 0)}


def pallets_after(lot: LotState, event: Event, mass_g: int) -> dict[str, int]:
    """Grams of a lot by pallet after some were put on one, or taken off it."""
    sscc = str(event.facts["sscc"])
    sign = 1 if event.kind == "aggregate" else -1
    after = {**lot.pallets, sscc: lot.pallets.get(sscc, 0) + sign * mass_g}
    return {k: v for k, v in after.items() if v > 0}


def came_back_because(event: Event) -> str:
    """Why leaf that came back is on hold."""
    facts = event.facts
    return f"came back from {facts['customer']}: {facts['because']}"[:400]


def check_came_back(event: Event, lots: Mapping[str, LotState]) -> None:
    """Refuse more coming back from a customer than they have.

    Raises
    ------
    BadInput
        With one sentence.
    """
    customer = str(event.facts["customer"])
    asked: dict[str, tuple[int, int]] = {}
    for d in event.inputs:
        mass, dry = asked.get(d.lot_id, (0, 0))
        asked[d.lot_id] = (mass + d.mass_g, dry + d.dry_g)
    for lot_id, amounts in asked.items():
        has = lots[lot_id].away.get(customer, (0, 0))
        for field, what, amount, most in (
            ("mass_g", "", amounts[0], has[0]),
            ("dry_g", " of dry matter", amounts[1], has[1]),
        ):
            if amount > most:
                raise BadInput(
                    field,
                    amount,
                    f"{kg(amount)}{what} of lot {lot_id} would come back from {customer}, who has "
                    f"{kg(most)}{what} of it; no more can come back than was shipped to them and "
                    "has not come back yet.",
                )


def check_pallets(event: Event, lots: Mapping[str, LotState]) -> None:
    """Refuse what a pallet does not allow now: only packed lots go on, and it leaves as a whole.

    Samples and counts may take from a pallet; nothing else draws from what stands on one.

    Raises
    ------
    BadInput
        With one sentence.
    """
    if event.kind in ("aggregate", "disaggregate"):
        _check_on_or_off(event, lots)
        return
    if event.kind in ("sample", "count", "receive_back"):
        return
    going = set(event.facts.get("pallets") or ()) if event.kind == "ship" else set()
    asked: dict[str, int] = {}
    for d in event.inputs:
        asked[d.lot_id] = asked.get(d.lot_id, 0) + d.mass_g
    for lot_id, mass_g in asked.items():
        lot = lots[lot_id]
        whole = sum(v for k, v in lot.pallets.items() if k in going)
        stays = {k: v for k, v in lot.pallets.items() if k not in going}
        loose = lot.remaining_mass_g - sum(stays.values())
        if stays and mass_g > loose:
            raise BadInput(
                "mass_g",
                mass_g,
                f"{kg(mass_g)} of lot {lot_id} are asked for and {kg(max(loose, 0))} stand loose; "
                f"take it off pallet {next(iter(stays))} first, or ship the pallet as a whole.",
            )
        if mass_g < whole:
            raise BadInput(
                "mass_g",
                mass_g,
                f"{kg(whole)} of lot {lot_id} stand on what is shipped and {kg(mass_g)} are asked "
                "for; a pallet ships as a whole.",
            )


def _check_on_or_off(event: Event, lots: Mapping[str, LotState]) -> None:
    sscc = str(event.facts["sscc"])
    asked: dict[str, int] = {}
    for item in event.facts["lots"]:
        asked[item["lot_id"]] = asked.get(item["lot_id"], 0) + item["mass_g"]
    for lot_id, mass_g in asked.items():
        lot = lots[lot_id]
        if event.kind == "disaggregate":
            on_it = lot.pallets.get(sscc, 0)
            if mass_g > on_it:
                raise BadInput(
                    "mass_g",
                    mass_g,
                    f"{kg(mass_g)} of lot {lot_id} would come off pallet {sscc}, which has "
                    f"{kg(on_it)} of it.",
                )
            continue
        if lot.form != "packed":
            raise BadInput(
                "lot_id",
                lot_id,
                f"Lot {lot_id} is {lot.form}; only packed lots go on a pallet. Pack it first.",
            )
        loose = max(lot.remaining_mass_g - lot.on_pallets_g, 0)
        if mass_g > loose:
            raise BadInput(
                "mass_g",
                mass_g,
                f"{kg(mass_g)} of lot {lot_id} would go on pallet {sscc}; {kg(loose)} are here "
                "and on no pallet.",
            )
