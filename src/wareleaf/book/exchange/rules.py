"""What the JSON Schema of EPCIS lets through and a receiver must not: our own rules."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from wareleaf.book.exchange.event_hash import event_hash
from wareleaf.book.exchange.hash_fields import EPC_LISTS, QUANTITY_LISTS
from wareleaf.book.exchange.uris import canonical_uri
from wareleaf.book.identifiers.check_digit import has_good_check_digit
from wareleaf.measure.errors import BadInput, Problem

TYPES = (
    "ObjectEvent",
    "AggregationEvent",
    "TransactionEvent",
    "TransformationEvent",
    "AssociationEvent",
)
_KEY = re.compile(r"^https://id\.gs1\.org/(00|01|414|417)/([^/]+)")
_LENGTH = {"00": 18, "01": 14, "414": 13, "417": 13}
_OFFSET = re.compile(r"^[+-](0\d|1[0-3]):[0-5]\d$|^[+-]14:00$")


def events_of(document: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The events of a document.

    Raises
    ------
    BadInput
        When it is no EPCIS 2.0 document.
    """
    version = document.get("schemaVersion")
    if document.get("type") != "EPCISDocument" or not str(version).startswith("2."):
        raise BadInput(
            "type",
            document.get("type"),
            "This is no EPCIS 2.0 document; give JSON with type EPCISDocument and "
            "schemaVersion 2.0.",
        )
    body = document.get("epcisBody")
    events = body.get("eventList") if isinstance(body, Mapping) else None
    if not isinstance(events, list) or not all(isinstance(e, Mapping) for e in events):
        raise BadInput("epcisBody", None, "The document has no epcisBody with an eventList.")
    return events


def problems_of(document: Mapping[str, Any]) -> list[Problem]:
    """What is wrong with a document beyond its JSON Schema; an empty list when nothing is.

    Negative quantities, a quantity without a unit that is no whole number, wrong check digits,
    missing lists, an event id that is a hash of something else, and error declarations that name
    an unknown event.
    """
    events = events_of(document)
    context = document.get("@context")
    ids = {e["eventID"] for e in events if isinstance(e.get("eventID"), str)}
    found: list[Problem] = []
    for n, event in enumerate(events):
        found += (
            Problem(f"eventList.{n}.{p.field}", p.value, p.message)
            for p in _event_problems(event, context, ids)
        )
    return found


def _event_problems(event: Mapping[str, Any], context: Any, ids: set[str]) -> Iterable[Problem]:
    kind = event.get("type")
    if kind not in TYPES:
        yield Problem("type", kind, f"{kind!r} is no event type; give one of {', '.join(TYPES)}.")
        return
    offset = event.get("eventTimeZoneOffset")
    if not isinstance(offset, str) or not _OFFSET.match(offset):
        yield Problem(
            "eventTimeZoneOffset", offset, f"The offset {offset!r} must look like +02:00."
        )
    yield from _quantity_problems(event)
    yield from _key_problems(event)
    if kind == "TransformationEvent":
        for side in ("input", "output"):
            empty = not event.get(f"{side}QuantityList") and not event.get(f"{side}EPCList")
            if empty and not event.get("transformationID"):
                yield Problem(side, None, f"The transformation has no {side}s.")
    yield from _id_problems(event, context, ids)


def _quantity_problems(event: Mapping[str, Any]) -> Iterable[Problem]:
    for name in QUANTITY_LISTS:
        for item in event.get(name) or ():
            value, lot = item.get("quantity"), item.get("epcClass")
            if value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
                yield Problem(name, value, f"The quantity of {lot} is {value!r}, no number.")
            elif value < 0:
                yield Problem(
                    name, value, f"The quantity of {lot} is {value}; it must be 0 or more."
                )
            elif item.get("uom") is None and value != int(value):
                yield Problem(
                    name, value, f"{value} pieces of {lot}: without a unit it must be whole."
                )


def _key_problems(event: Mapping[str, Any]) -> Iterable[Problem]:
    texts = [t for name in EPC_LISTS for t in event.get(name) or ()]
    texts += [i.get("epcClass") for name in QUANTITY_LISTS for i in event.get(name) or ()]
    texts += [(event.get(n) or {}).get("id") for n in ("readPoint", "bizLocation")]
    texts.append(event.get("parentID"))
    for text in texts:
        match = _KEY.match(canonical_uri(text)) if isinstance(text, str) else None
        if match and (len(match[2]) != _LENGTH[match[1]] or not has_good_check_digit(match[2])):
            yield Problem(
                "epc", text, f"{text} has a key of wrong length or with a wrong check digit."
            )


def _id_problems(event: Mapping[str, Any], context: Any, ids: set[str]) -> Iterable[Problem]:
    name = event.get("eventID")
    if isinstance(name, str) and name.startswith("ni:///sha-256;"):
        try:
            right = event_hash(event, context)
        except BadInput as error:
            yield from error.problems
            return
        if name != right:
            yield Problem(
                "eventID", name, f"The event id is a hash of something else; this event is {right}."
            )
    declared = event.get("errorDeclaration")
    for other in (declared or {}).get("correctiveEventIDs") or ():
        if other not in ids:
            yield Problem(
                "errorDeclaration",
                other,
                f"The error declaration names the event {other}, which is not in the document.",
            )
