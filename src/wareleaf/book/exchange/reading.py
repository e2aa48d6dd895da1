"""An EPCIS 2.0 document as events of the book, or as arrivals that wait for the intake clerk.

A document of another works with this program carries our own fields and gives back its events as
they were. Any other document tells which lots are under way and how much of each; it cannot tell
dry matter, so its lots become arrivals: what to expect, from whom, with which papers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wareleaf.book.event import Draw, Event, Made, Stream
from wareleaf.book.exchange.event_hash import event_hash
from wareleaf.book.exchange.naming import NAMESPACE, Naming
from wareleaf.book.exchange.rules import events_of, problems_of
from wareleaf.measure.errors import BadInput

TO_KG = {"KGM": 1.0, "GRM": 0.001, "TNE": 1000.0}
"""Units of mass (UN/ECE Recommendation 20) that are understood."""

_ARRIVING = ("shipping", "departing", "commissioning", "receiving", "consigning")


@dataclass(frozen=True, slots=True)
class Arrival:
    """A lot of someone else's document.

    Parameters
    ----------
    lot, address : str
        Lot number and full address as given.
    mass_kg : float or None
        None when it was not given in a unit of mass.
    happened_at : datetime
        Of the event.
    step, sender, document : str
        Business step, who had it, and the paper.
    event_hash : str
        CBV 2.0 hash of the event, to name it later.
    """

    lot: str
    address: str
    mass_kg: float | None
    happened_at: datetime
    step: str
    sender: str
    document: str
    event_hash: str


@dataclass(frozen=True)
class Imported:
    """Events of a book, arrivals, and in words what was left aside.

    ``with_facts`` is whether every event of the book came with its facts, so that a book can be
    made of them; a document for customers leaves them at home.
    """

    events: tuple[Event, ...]
    arrivals: tuple[Arrival, ...]
    left_aside: tuple[str, ...]
    with_facts: bool = True


def read_document(document: Mapping[str, Any], naming: Naming) -> Imported:
    """Read a document; all or nothing.

    Raises
    ------
    BadInput
        With everything that is wrong with it (`problems_of`).
    """
    problems = problems_of(document)
    if problems:
        raise BadInput.of(problems)
    prefix = _our_prefix(document.get("@context"))
    events: list[Event] = []
    arrivals: list[Arrival] = []
    aside: list[str] = []
    with_facts = True
    for n, data in enumerate(events_of(document)):
        own = _own(data, prefix)
        if own.get("kind"):
            if "errorDeclaration" in data:
                _void_if_needed(data, own, events, prefix)
            else:
                events.append(_event(data, own, prefix))
                with_facts = with_facts and "facts" in own
        elif "errorDeclaration" in data:
            gone = event_hash(data, document.get("@context"))
            arrivals = [a for a in arrivals if a.event_hash != gone]
            aside.append(f"Event {n} is declared wrong by its sender and was left out.")
        else:
            found = _arrivals(data, document.get("@context"), naming)
            arrivals += found
            if not found:
                aside.append(f"Event {n} ({data['type']}) names no lot that arrives.")
    return Imported(tuple(events), tuple(arrivals), tuple(aside), with_facts)


def _our_prefix(context: Any) -> str:
    for part in context if isinstance(context, list) else [context]:
        if isinstance(part, Mapping):
            for prefix, space in part.items():
                if space == NAMESPACE:
                    return f"{prefix}:"
    return ""


def _own(data: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    if not prefix:
        return {}
    return {k.removeprefix(prefix): v for k, v in data.items() if k.startswith(prefix)}


def _event(data: Mapping[str, Any], own: Mapping[str, Any], prefix: str) -> Event:
    try:
        corrects = str(own.get("corrects", ""))
        facts = json.loads(own["facts"]) if "facts" in own else {}
        return Event(
            event_id=str(own["eventId"]),
            kind="correction" if corrects else str(own["kind"]),
            happened_at=datetime.fromisoformat(data["eventTime"]),
            recorded_at=datetime.fromisoformat(data["recordTime"]),
            site=str(own["site"]),
            place=str(own.get("place", "")),
            who=str(own.get("who", "")),
            why=str(own.get("why", "")),
            document=str(own.get("document", "")),
            inputs=tuple(
                Draw(str(d["lotId"]), int(d["massGrams"]), int(d["dryGrams"]))
                for d in (_own(item, prefix) for item in own.get("drawn", ()))
            ),
            outputs=tuple(_made(_own(item, prefix)) for item in own.get("made", ())),
            streams=tuple(
                Stream(str(s["name"]), int(s["massGrams"]), int(s["dryGrams"]))
                for s in (_own(item, prefix) for item in own.get("lost", ()))
            ),
            facts=facts,
            corrects=corrects,
        )
    except (KeyError, TypeError, ValueError) as error:
        raise BadInput(
            "eventList",
            own.get("eventId"),
            f"The event {own.get('eventId')} cannot be read: {error!r}.",
        ) from error


def _made(own: Mapping[str, Any]) -> Made:
    return Made(
        lot_id=str(own["lotId"]),
        leaf=str(own["leaf"]),
        form=str(own["form"]),
        place=str(own.get("place", "")),
        mass_g=int(own["massGrams"]),
        dry_g=int(own["dryGrams"]),
        mass_sd_g=float(own["massSdGrams"]),
        dry_sd_g=float(own["drySdGrams"]),
        label=str(own.get("label", "")),
        attributes=json.loads(own["attributes"]) if "attributes" in own else {},
    )


def _void_if_needed(
    data: Mapping[str, Any], own: Mapping[str, Any], events: list[Event], prefix: str
) -> None:
    """An event declared wrong without a right one in its place is void."""
    declared = data["errorDeclaration"]
    if declared.get("correctiveEventIDs"):
        return
    said = _own(declared, prefix)
    facts = {"reason": "declared void by its sender", "void": True, "kind": own["kind"]}
    if "facts" in said:
        facts = json.loads(said["facts"])
    events.append(
        Event(
            event_id=str(said.get("eventId", "")),
            kind="correction",
            happened_at=datetime.fromisoformat(said.get("happenedAt", data["eventTime"])),
            recorded_at=datetime.fromisoformat(declared["declarationTime"]),
            site=str(said.get("site", own["site"])),
            place=str(said.get("place", own.get("place", ""))),
            who=str(said.get("who", "")),
            why=str(said.get("why", "")),
            document=str(said.get("document", "")),
            facts=facts,
            corrects=str(own["eventId"]),
        )
    )


def _arrivals(data: Mapping[str, Any], context: Any, naming: Naming) -> list[Arrival]:
    step = str(data.get("bizStep", "")).rpartition(":")[2].rpartition("BizStep-")[2]
    if data["type"] != "ObjectEvent" or step not in _ARRIVING:
        return []
    senders = [str(s.get("source", "")) for s in data.get("sourceList") or ()]
    papers = [str(t.get("bizTransaction", "")) for t in data.get("bizTransactionList") or ()]
    name = event_hash(data, context)
    found = []
    for item in data.get("quantityList") or ():
        factor = TO_KG.get(item.get("uom", ""))
        amount = item.get("quantity")
        address = str(item["epcClass"])
        found.append(
            Arrival(
                lot=naming.lot_id(address),
                address=address,
                mass_kg=factor * float(amount) if factor and amount is not None else None,
                happened_at=datetime.fromisoformat(str(data["eventTime"])),
                step=step,
                sender=senders[0] if senders else "",
                document=papers[0] if papers else "",
                event_hash=name,
            )
        )
    return found
