"""Cool leaf: on ice or in chilled sea water on the way, in a cold room at the works."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from wareleaf.book import Event
from wareleaf.measure.errors import require
from wareleaf.works.growing import harvest_of
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, record


def cool(
    works: Works,
    who: str,
    lot_ids: Sequence[str],
    method: str,
    temperature_c: float,
    *,
    began: datetime | None = None,
    until: datetime | None = None,
    harvest_id: str = "",
    place: str = "",
    document: str = "",
    note: str = "",
) -> Event:
    """Record that lots, or a harvest on its way, were cooled.

    Parameters
    ----------
    lot_ids : sequence of str
        Lots at the works; empty for a harvest that was cooled before the door.
    method : str
        ``ice``, ``chilled sea water`` or ``cold room``.
    temperature_c : float
        Of what cools, degC, -40 to 25.
    began, until : datetime or None
        From (now when left out) and until; None while it goes on.
    harvest_id : str
        The harvest, for cooling on the way.
    place : str
        Where: the vessel, the cold room.

    Raises
    ------
    BadInput
        For unknown lots or harvests, lots of several sites, or numbers that cannot be.
    """
    lots = [works.book.lot(lot_id) for lot_id in dict.fromkeys(lot_ids)]
    sites = {lot.site for lot in lots}
    if harvest_id:
        sites.add(works.settings.source_of(harvest_of(works, harvest_id).source).site)
    require(bool(sites), "lot_ids", [], "Nothing to cool is named; name lots or a harvest.")
    require(len(sites) == 1, "lot_ids", sorted(sites), "Cooling is recorded site by site.")
    site = sites.pop()
    acting(works, who, "cool leaf", site)
    at = began or works.now()
    require(
        until is None or until <= works.now(),
        "until",
        until.isoformat() if until else None,
        "until is in the future; leave it out while the cooling goes on.",
    )
    facts = {
        "lots": [lot.lot_id for lot in lots],
        "harvest_id": harvest_id,
        "method": method,
        "temperature_c": float(temperature_c),
        "from": at.isoformat(),
        "until": until.isoformat() if until else "",
    }
    return record(
        works,
        Entry(
            kind="cooling",
            site=site,
            who=who,
            place=place or (lots[0].place if lots else "on the way"),
            why=note,
            document=document,
            happened_at=at,
            facts=facts,
        ),
    )
