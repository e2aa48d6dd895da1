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
