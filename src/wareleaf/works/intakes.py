"""What was taken in today, with the weight on each ticket held against our own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event
from wareleaf.works.house import Works

# A ticket is worth a question when it differs by more than this many standard uncertainties of
# two scales like ours. Common practice, no source.
ASK_ABOVE = 3.0


@dataclass(frozen=True)
class Taken:
    """One load as booked.

    Parameters
    ----------
    lot_id, source, leaf : str
        New lot, name of its line or field, leaf profile.
    at : datetime
        When it arrived.
    net_kg, net_sd_kg : float
        Leaf, and its standard uncertainty.
    moisture_wb, moisture_sd : float
        As booked, fraction.
    measured : bool
        False when the usual value of the leaf stood in.
    ticket_kg, ticket_less_ours_kg : float or None
        From the grower's ticket; the second is ticket less what the scale showed.
    ask_about_ticket : bool
        The two differ by more than scales do.
    who : str
        Person id.
    """

    lot_id: str
    source: str
    leaf: str
    at: datetime
    net_kg: float
    net_sd_kg: float
    moisture_wb: float
    moisture_sd: float
    measured: bool
    ticket_kg: float | None
    ticket_less_ours_kg: float | None
    ask_about_ticket: bool
    who: str


def intakes_today(works: Works, site_id: str) -> list[Taken]:
    """Loads of today at a site, newest first, corrections in place."""
    start = works.now().replace(hour=0, minute=0, second=0, microsecond=0)
    found = works.book.events_in_force(kind="intake", since=start, site=site_id)
    return [_taken(works, event) for event in reversed(found) if event.outputs]


def _taken(works: Works, event: Event) -> Taken:
    facts, made = event.facts, event.outputs[0]
    names = {s.id: s.name for s in works.settings.source}
    ticket, less, ask = facts.get("ticket_kg"), None, False
    if ticket is not None:
        # The ticket weighs leaf with the water on it, as our scale does.
        less = float(ticket) - (made.mass_g / 1000.0 + float(facts.get("surface_water_kg") or 0.0))
        ask = abs(less) > ASK_ABOVE * 2.0**0.5 * made.mass_sd_g / 1000.0
    return Taken(
        lot_id=made.lot_id,
        source=names.get(facts.get("source", ""), made.label),
        leaf=made.leaf,
        at=event.happened_at,
        net_kg=made.mass_g / 1000.0,
        net_sd_kg=made.mass_sd_g / 1000.0,
        moisture_wb=float(facts.get("moisture_wb", (made.mass_g - made.dry_g) / made.mass_g)),
        moisture_sd=float(facts.get("moisture_sd", 0.0)),
        measured=not str(facts.get("moisture_meter", "")).startswith("assumed"),
        ticket_kg=ticket,
        ticket_less_ours_kg=less,
        ask_about_ticket=ask,
        who=event.who,
    )
