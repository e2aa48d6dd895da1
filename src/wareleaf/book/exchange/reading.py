"""An EPCIS 2.0 document as events of the book, or as arrivals that wait for the intake clerk.

A document of another works with this program carries our own fields and gives back its events as
they were. What any document ships becomes arrivals: what to expect, from whom, with which papers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wareleaf.book.event import Draw, Event, Made, Stream
from wareleaf.book.exchange.arrivals import Arrival, arrivals_of
from wareleaf.book.exchange.naming import Naming, our_prefix, own_fields
from wareleaf.book.exchange.rules import events_of, problems_of
from wareleaf.measure.errors import BadInput


@dataclass(frozen=True)
class Imported:
    """Events of a book, shipments in force as arrivals, and in words what was left aside.

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
        With everything that is wrong with it (`problems_of`), or when a shipment's masses do not
        agree with each other.
    """
    problems = problems_of(document)
    if problems:
        raise BadInput.of(problems)
    prefix = our_prefix(document.get("@context"))
    events: list[Event] = []
    with_facts = True
    for data in events_of(document):
        own = own_fields(data, prefix)
        if own.get("kind") and "errorDeclaration" in data:
            _void_if_needed(data, own, events, prefix)
        elif own.get("kind"):
            events.append(_event(data, own, prefix))
            with_facts = with_facts and "facts" in own
    arrivals, aside = arrivals_of(document, naming)
    return Imported(tuple(events), arrivals, aside, with_facts)


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
                for d in (own_fields(item, prefix) for item in own.get("drawn", ()))
            ),
            outputs=tuple(_made(own_fields(item, prefix)) for item in own.get("made", ())),
            streams=tuple(
                Stream(str(s["name"]), int(s["massGrams"]), int(s["dryGrams"]))
                for s in (own_fields(item, prefix) for item in own.get("lost", ()))
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
    said = own_fields(declared, prefix)
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
