"""Puts one event in the book: the step every job of the day ends with."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wareleaf.book import Draw, Event, LotState, Made, Stream
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works

UNMIXED = ("count", "correction", "waste", "destroy", "receive_back")
"""What may name a lot in a room by itself: stock counts, corrections, throwing it all away, and
leaf of it that left and comes back."""

_TOKENS: ContextVar[Callable[[int], str]] = ContextVar("tokens", default=secrets.token_hex)


def new_token(n_bytes: int) -> str:
    """A fresh hexadecimal token for an event, a run or a sample."""
    return _TOKENS.get()(n_bytes)


@contextmanager
def tokens_from(source: Callable[[int], str]) -> Iterator[None]:
    """Take tokens from another source inside a ``with``: the demo repeats itself by its seed."""
    before = _TOKENS.set(source)
    try:
        yield
    finally:
        _TOKENS.reset(before)


@dataclass(frozen=True)
class Entry:
    """What a job hands over to be recorded; the rest is filled in here."""

    kind: str
    site: str
    who: str
    place: str = ""
    why: str = ""
    document: str = ""
    happened_at: datetime | None = None
    inputs: tuple[Draw, ...] = ()
    outputs: tuple[Made, ...] = ()
    streams: tuple[Stream, ...] = ()
    facts: Mapping[str, Any] | None = None
    corrects: str = ""


def event_of(works: Works, entry: Entry) -> Event:
    """Make the event of an entry, with an id and both times.

    Raises
    ------
    BadInput
        When ``happened_at`` has no time zone.
    """
    now = works.now()
    happened = entry.happened_at or now
    if happened.tzinfo is None:
        raise BadInput(
            "happened_at", happened.isoformat(), "happened_at has no time zone; give its offset."
        )
    return Event(
        event_id=new_token(12),
        kind=entry.kind,
        happened_at=happened,
        recorded_at=now,
        site=entry.site,
        place=entry.place,
        who=entry.who,
        why=entry.why,
        document=entry.document.strip(),
        inputs=entry.inputs,
        outputs=entry.outputs,
        streams=entry.streams,
        facts=dict(entry.facts or {}),
        corrects=entry.corrects,
    )


def record(works: Works, entry: Entry) -> Event:
    """Record an entry; it is in the book, checked and sealed, when this returns.

    Raises
    ------
    BadInput
        When the book refuses it; nothing has been written.
    """
    refuse_loose(works, [d.lot_id for d in entry.inputs], entry.facts or {}, entry.kind)
    event = event_of(works, entry)
    works.book.append(event, now=event.recorded_at)
    return event


def refuse_loose(
    works: Works, lot_ids: Iterable[str], facts: Mapping[str, Any], kind: str = ""
) -> None:
    """Refuse to touch a lot that lies loose in a room with others, except by the room's own rule.

    Raises
    ------
    BadInput
        Naming the room to take it out of.
    """
    rooms = {room.id: room for room in works.settings.room}
    lot_ids = list(lot_ids)
    if not rooms or not lot_ids or kind in UNMIXED:
        return
    for lot in works.book.lots(ids=lot_ids):
        if lot.place in rooms and facts.get("room") != lot.place:
            name = rooms[lot.place].name
            raise BadInput(
                "lot_id",
                lot.lot_id,
                f"{lot.lot_id} lies loose in {name}, where leaf mixes; take what you need out of "
                f"{name} first, then use the lot that makes.",
            )


def new_lot_id(works: Works, site_id: str, at: datetime) -> str:
    """A lot number that fits on a label: site letter, day, running number."""
    day = at.astimezone(works.settings.zone).date()
    return works.book.next_id(works.settings.site_of(site_id).letter, day)


def draw(lot: LotState, mass_kg: float | None = None) -> Draw:
    """Take mass out of a lot (all that remains by default) with its share of dry matter.

    Raises
    ------
    BadInput
        When nothing is left of the lot, or the mass is not above 0.
    """
    if lot.remaining_mass_g == 0:
        raise BadInput("lot_id", lot.lot_id, f"Nothing is left of {lot.lot_id}.")
    if mass_kg is None:
        return Draw(lot.lot_id, lot.remaining_mass_g, lot.remaining_dry_g)
    if not mass_kg > 0.0:
        raise BadInput("mass_kg", mass_kg, f"mass_kg is {mass_kg:g}; it must be above 0.")
    mass_g = round(mass_kg * 1000.0)
    if mass_g == lot.remaining_mass_g:
        return Draw(lot.lot_id, mass_g, lot.remaining_dry_g)
    return Draw(lot.lot_id, mass_g, round(mass_g * (1.0 - lot.moisture_wb)))


def refuse_more_out(lots: Iterable[LotState], in_g: float, out_g: float) -> None:
    """Refuse more grams out of some lots than went in, beyond what the scales can be off.

    Three standard uncertainties of the lots, and half a percent of what went in for the scale of
    what came out (common practice, no source).

    Raises
    ------
    BadInput
        With one sentence.
    """
    off_g = sum(lot.mass_sd_g**2 for lot in lots) ** 0.5 + 0.005 * in_g
    if out_g > in_g + 3.0 * off_g:
        raise BadInput(
            "parts",
            out_g / 1000.0,
            f"{out_g / 1000.0:g} kg came of {in_g / 1000.0:g} kg; weigh again, or correct the "
            "weight of what went in first.",
        )


def dry_sd_kg(mass_kg: float, mass_sd_kg: float, moisture_wb: float, moisture_sd: float) -> float:
    """Standard uncertainty of dry matter from those of mass and moisture (GUM, first order)."""
    return ((1.0 - moisture_wb) ** 2 * mass_sd_kg**2 + mass_kg**2 * moisture_sd**2) ** 0.5


def moisture_sd(lot: LotState) -> float:
    """Standard uncertainty of a lot's moisture (fraction), from those of its dry matter and mass.

    The inverse of `dry_sd_kg`: what the weighing does not explain of the dry matter's spread.
    """
    weighing_g = (1.0 - lot.moisture_wb) * lot.mass_sd_g
    return max(lot.dry_sd_g**2 - weighing_g**2, 0.0) ** 0.5 / lot.mass_g
