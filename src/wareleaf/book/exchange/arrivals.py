"""Shipments of an EPCIS document as arrivals: what to expect, from whom, with which papers.

Only what is in force counts. An event that its sender declared wrong is gone, wherever in the
document the declaration stands; the right one that it names is an event like any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import unquote

from wareleaf.book.exchange.event_hash import event_hash
from wareleaf.book.exchange.naming import Naming, our_prefix, own_fields
from wareleaf.book.exchange.rules import events_of
from wareleaf.book.exchange.uris import CANONICAL, canonical_uri
from wareleaf.measure.errors import BadInput

TO_KG = {"KGM": 1.0, "GRM": 0.001, "TNE": 1000.0}
"""Units of mass (UN/ECE Recommendation 20) that are understood."""

ARRIVING = ("shipping", "departing", "consigning", "receiving", "commissioning")
"""Steps that tell of an arrival. A lot counts by the first of them that names it, so that one that
was commissioned, shipped and departed is expected once."""

_SOURCES = ("owning_party", "possessing_party", "location")


@dataclass(frozen=True, slots=True)
class Arrival:
    """A lot that someone else's document sends.

    Parameters
    ----------
    lot, address : str
        Lot number and full address as given.
    mass_kg : float
        As shipped, above 0.
    dry_kg : float or None
        Dry matter as its sender booked it; None when the document cannot tell.
    happened_at : datetime
        Of the event.
    step, sender, receiver, document : str
        Business step, who had it, whom it goes to, and the paper; empty where nothing is said.
    event_hash : str
        CBV 2.0 hash of the event, to name it later.
    """

    lot: str
    address: str
    mass_kg: float
    dry_kg: float | None
    happened_at: datetime
    step: str
    sender: str
    receiver: str
    document: str
    event_hash: str


def arrivals_of(
    document: Mapping[str, Any], naming: Naming
) -> tuple[tuple[Arrival, ...], tuple[str, ...]]:
    """Arrivals of a document, and a sentence for each event and lot that is not one.

    Of a book of our own kind only its shipments, and what came back of them, are looked at.

    Raises
    ------
    BadInput
        When the masses that a shipment of our own kind tells do not agree with each other.
    """
    context = document.get("@context")
    prefix = our_prefix(context)
    events = events_of(document)
    gone = {
        name
        for data in events
        if "errorDeclaration" in data
        for name in (data.get("eventID"), event_hash(data, context))
    } - {None}
    found: list[Arrival] = []
    aside: list[str] = []
    seen: set[str] = set()
    for n, data in enumerate(events):
        own = own_fields(data, prefix)
        kind = own.get("kind")
        if kind not in (None, "ship", "receive_back"):
            continue
        if "errorDeclaration" in data:
            aside.append(_declared(n, data["errorDeclaration"]))
        elif data.get("eventID") in gone:
            continue
        elif data["type"] != "ObjectEvent" and _last(data.get("disposition")) == "returned":
            aside.append(_came_back(n, data, naming))
        elif data["type"] != "ObjectEvent" or _step(data) not in ARRIVING:
            aside.append(f"Event {n} ({data['type']}) names no lot that arrives.")
        elif (name := event_hash(data, context)) not in gone and name not in seen:
            seen.add(name)
            lots, lacking = _lots(n, data, own, name, naming, prefix)
            found += lots
            aside += lacking
    return _each_by_one_step(found), tuple(aside)


def _declared(n: int, declared: Mapping[str, Any]) -> str:
    instead = "the right one counts" if declared.get("correctiveEventIDs") else "none replaces it"
    return f"Event {n} is declared wrong by its sender and was left out; {instead}."


def _came_back(n: int, data: Mapping[str, Any], naming: Naming) -> str:
    back = ", ".join(
        f"{item.get('quantity', '?')} {item.get('uom', '')} of "
        f"{naming.lot_id(str(item.get('epcClass') or 'a lot'))}"
        for item in data.get("inputQuantityList") or ()
    ).replace(" KGM ", " kg ")
    return f"Event {n}: {back or 'leaf'} came back to its sender; it is not taken off the arrivals."


def _last(word: Any) -> str:
    """The word of the vocabulary at the end of its address, or as it is."""
    return str(word or "").rpartition(":")[2].rpartition("/")[2].rpartition("-")[2]


def _step(data: Mapping[str, Any]) -> str:
    return _last(data.get("bizStep"))


def _lots(
    n: int,
    data: Mapping[str, Any],
    own: Mapping[str, Any],
    name: str,
    naming: Naming,
    prefix: str,
) -> tuple[list[Arrival], list[str]]:
    """Lots of one event that can be booked, and why the others cannot."""
    items = list(data.get("quantityList") or ())
    ours = own.get("kind") == "ship"
    drawn: list[dict[str, Any] | None] = [own_fields(d, prefix) for d in own.get("drawn") or ()]
    if ours and len(drawn) != len(items):
        raise BadInput("drawn", n, f"Event {n} ships {len(items)} lots but draws {len(drawn)}.")
    found: list[Arrival] = []
    lacking: list[str] = []
    for item, draw in zip(items, drawn if ours else [None] * len(items), strict=True):
        address = str(item.get("epcClass") or "")
        why = _lacks(item, address)
        if why:
            lacking.append(f"Event {n} cannot be booked for {address or 'one lot'}: {why}")
            continue
        mass_kg = TO_KG[item["uom"]] * float(item["quantity"])
        if draw is not None:
            _check_mass(n, draw, mass_kg)
        found.append(
            Arrival(
                lot=str(draw["lotId"]) if draw else naming.lot_id(address),
                address=address,
                mass_kg=mass_kg,
                dry_kg=draw["dryGrams"] / 1000.0 if draw else None,
                happened_at=_when(n, data),
                step=_step(data),
                sender=_sender(data),
                receiver=_party(data, "destination"),
                document=_paper(data, ours),
                event_hash=name,
            )
        )
    if not items:
        pallets = ", ".join(str(e) for e in data.get("epcList") or ()) or "nothing"
        lacking.append(
            f"Event {n} ({_step(data)}) names {pallets} and no lot with its mass, which is not "
            "enough to book; ask the sender for lots and kilograms."
        )
    return found, lacking


def _lacks(item: Mapping[str, Any], address: str) -> str:
    """What an item lacks to be booked, as the end of a sentence; empty when nothing."""
    if not address:
        return "it has no epcClass; ask the sender for the lot."
    uri = canonical_uri(address)
    if uri.startswith(f"{CANONICAL}01/") and "/10/" not in uri:
        return "it names a product and no lot; ask the sender for the lot number."
    amount, unit = item.get("quantity"), item.get("uom")
    if amount is None or unit not in TO_KG:
        said = "no mass" if amount is None else f"{amount} {unit or 'pieces'}, which is no mass"
        return f"it gives {said}; ask the sender for kilograms (KGM), grams (GRM) or tonnes (TNE)."
    if not float(amount) > 0.0:
        return f"its mass is {amount}; it must be above 0."
    return ""


def _check_mass(n: int, draw: Mapping[str, Any], mass_kg: float) -> None:
    mass_g, dry_g = int(draw["massGrams"]), int(draw["dryGrams"])
    if round(mass_kg * 1000.0) != mass_g or not 0 <= dry_g <= mass_g:
        raise BadInput(
            "drawn",
            n,
            f"Event {n} ships {mass_kg:g} kg of {draw.get('lotId')} but draws {mass_g / 1000.0:g} "
            f"kg with {dry_g / 1000.0:g} kg dry matter; both masses must be the same and no less "
            "than the dry matter.",
        )


def _when(n: int, data: Mapping[str, Any]) -> datetime:
    try:
        return datetime.fromisoformat(str(data.get("eventTime")))
    except ValueError as error:
        raise BadInput(
            f"eventList.{n}.eventTime",
            data.get("eventTime"),
            f"The time of event {n} is {data.get('eventTime')!r}; it must look like "
            "2026-04-12T05:00:00+00:00.",
        ) from error


def _sender(data: Mapping[str, Any]) -> str:
    place = data.get("readPoint") or {}
    return _party(data, "source") or str(place.get("id", ""))


def _party(data: Mapping[str, Any], side: str) -> str:
    """Who gives or takes: the owner before the holder before the place."""
    parties = {_last(p.get("type")): str(p.get(side, "")) for p in data.get(f"{side}List") or ()}
    return next((parties[t] for t in _SOURCES if parties.get(t)), next(iter(parties.values()), ""))


def _paper(data: Mapping[str, Any], ours: bool) -> str:
    """The shipment paper, a despatch advice before any other; by its number if it is ours."""
    papers = [
        (_last(t.get("type")) != "desadv", str(t.get("bizTransaction", "")))
        for t in data.get("bizTransactionList") or ()
    ]
    paper = min(papers, key=lambda p: p[0])[1] if papers else ""
    return unquote(paper.rpartition("/document/")[2]) if ours else paper


def _each_by_one_step(found: list[Arrival]) -> tuple[Arrival, ...]:
    first: dict[str, int] = {}
    for arrival in found:
        rank = ARRIVING.index(arrival.step)
        first[arrival.address] = min(rank, first.get(arrival.address, rank))
    return tuple(a for a in found if ARRIVING.index(a.step) == first[a.address])
