"""The CBV 2.0 hash of an EPCIS 2.0 event, by which anyone can name an event without asking.

Rules: GS1 Core Business Vocabulary 2.0, algorithm of the event hash (secondary: a copy); where text
and the published vectors differ, the vectors are followed (the type stands before its value, the
destination list before the source list, certificationInfo after the time zone). The order of fields
that no vector holds is from memory. Left out: recordTime, eventID, errorDeclaration.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any

from wareleaf.book.exchange.hash_fields import (
    EPC_LISTS,
    LEFT_OUT,
    METADATA,
    NUMBERS,
    ORDER,
    QUANTITY_LISTS,
    REPORT,
    STANDARD_PREFIXES,
    TIMES,
    VERSION,
    WORDS,
)
from wareleaf.book.exchange.uris import canonical_uri
from wareleaf.measure.errors import BadInput

_TIME = re.compile(r"^(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)(?:[.,](\d+))?(Z|[+-]\d\d:?\d\d)$")


def event_hash(event: Mapping[str, Any], context: Any = None) -> str:
    """Hash of an event.

    Parameters
    ----------
    event : mapping
        An EPCIS 2.0 event in JSON form.
    context : optional
        The ``@context`` of its document, for the namespaces of extensions; one inside the event is
        used as well.

    Returns
    -------
    str
        ``ni:///sha-256;...?ver=CBV2.0``.

    Raises
    ------
    BadInput
        For an event that cannot be read.
    """
    digest = hashlib.sha256(prehash(event, context).encode()).hexdigest()
    return f"ni:///sha-256;{digest}?ver={VERSION}"


def prehash(event: Mapping[str, Any], context: Any = None) -> str:
    """What is hashed: all fields in one order, as one text."""
    kind = event.get("type")
    if not isinstance(kind, str) or not kind.strip():
        raise BadInput("type", kind, "The event has no type; give one such as ObjectEvent.")
    spaces = _Spaces(context, event.get("@context"))
    text = f"eventType={kind.strip()}"
    for name in ORDER:
        if name in event:
            text += _field(name, event[name], spaces)
    own = {k: v for k, v in event.items() if k not in ORDER and k not in LEFT_OUT}
    return text + spaces.extensions(own)


class _Spaces:
    """Namespaces by prefix, and extensions written with them."""

    def __init__(self, *contexts: Any) -> None:
        self.known = dict(STANDARD_PREFIXES)
        for context in contexts:
            for part in context if isinstance(context, list) else [context]:
                if isinstance(part, Mapping):
                    for prefix, space in part.items():
                        if isinstance(space, str):
                            self.known[prefix] = space
                        elif isinstance(space, Mapping) and isinstance(space.get("@id"), str):
                            self.known[prefix] = space["@id"]

    def name(self, key: str) -> str:
        """``{namespace}local`` of a key."""
        prefix, colon, local = key.partition(":")
        if colon and local.startswith("//"):  # a full address as the key
            cut = max(key.rfind("/"), key.rfind("#")) + 1
            return f"{{{key[:cut]}}}{key[cut:]}"
        if colon and prefix in self.known:
            return f"{{{self.known[prefix]}}}{local}"
        raise BadInput(
            key,
            None,
            f"{key} is no field of an EPCIS event and its namespace is not known; give the "
            "document's @context in the event.",
        )

    def extensions(self, fields: Mapping[str, Any]) -> str:
        """Extension fields, sorted."""
        return "".join(sorted(self._one(k, v) for k, v in fields.items()))

    def _one(self, key: str, value: Any) -> str:
        if isinstance(value, list):
            return "".join(sorted(self._one(key, v) for v in value))
        name = self.name(key)
        if isinstance(value, Mapping):
            if set(value) <= {"@value", "@type", "@language"} and "@value" in value:
                return f"{name}={_plain(value['@value'])}"
            inner = {k: v for k, v in value.items() if k not in ("@type", "type")}
            return name + self.extensions(inner)
        return f"{name}={_plain(value)}"


def _field(name: str, value: Any, spaces: _Spaces) -> str:
    if value is None or value in ([], {}):
        return ""
    if name in EPC_LISTS:
        return name + _sorted(f"epc={canonical_uri(_text(name, v))}" for v in _list(name, value))
    if name in QUANTITY_LISTS:
        return name + _sorted(
            "quantityElement" + _fields(v, ("epcClass", "quantity", "uom"), spaces)
            for v in _mappings(name, value)
        )
    if name in ("bizTransactionList", "sourceList", "destinationList"):
        what = name.removesuffix("List")
        return name + _sorted(_typed(what, v, spaces) for v in _mappings(name, value))
    if name in ("readPoint", "bizLocation"):
        return name + _fields(_mapping(name, value), ("id",), spaces)
    if name == "persistentDisposition":
        return name + _fields(_mapping(name, value), ("set", "unset"), spaces)
    if name == "sensorElementList":
        return name + _sorted(_sensor(v, spaces) for v in _mappings(name, value))
    if name == "ilmd":
        return name + spaces.extensions(_mapping(name, value))
    values = value if isinstance(value, list) else [value]
    return _sorted(f"{name}={_value(name, v)}" for v in values)


def _typed(what: str, item: Mapping[str, Any], spaces: _Spaces) -> str:
    text = f"type={_word(what + 'Type', item['type'])}" if "type" in item else ""
    text += f"{what}={_value(what, item[what])}" if what in item else ""
    return text + spaces.extensions({k: v for k, v in item.items() if k not in ("type", what)})


def _sensor(element: Mapping[str, Any], spaces: _Spaces) -> str:
    text = "sensorElement"
    if element.get("sensorMetadata"):
        metadata = _mapping("sensorMetadata", element["sensorMetadata"])
        text += "sensorMetadata" + _fields(metadata, METADATA, spaces)
    reports = _mappings("sensorReport", element.get("sensorReport", []))
    text += _sorted("sensorReport" + _report(r, spaces) for r in reports)
    own = {k: v for k, v in element.items() if k not in ("sensorMetadata", "sensorReport", "type")}
    return text + spaces.extensions(own)


def _report(report: Mapping[str, Any], spaces: _Spaces) -> str:
    kind = f"type={_word('reportType', report['type'])}" if "type" in report else ""
    rest = {k: v for k, v in report.items() if k != "type"}
    return kind + _fields(rest, REPORT[1:], spaces)


def _fields(item: Mapping[str, Any], order: Iterable[str], spaces: _Spaces) -> str:
    names = tuple(order)
    text = "".join(_field(n, item[n], spaces) for n in names if n in item)
    return text + spaces.extensions(
        {k: v for k, v in item.items() if k not in names and k not in ("type", "isA")}
    )


def _value(name: str, value: Any) -> str:
    if name in TIMES:
        return utc_time(name, _text(name, value))
    if name in NUMBERS:
        return _number(name, value)
    if name in WORDS:
        return _word(name, value)
    return canonical_uri(_plain(value))


def _word(name: str, value: Any) -> str:
    """A word of the vocabulary as its address; other addresses as they are."""
    urn, address = WORDS[name]
    text = _text(name, value)
    old = f"urn:epcglobal:cbv:{urn}:"
    if urn and text.startswith(old):
        return address + text.removeprefix(old)
    for prefix in ("gs1:", "cbv:"):
        if text.startswith(prefix):
            return STANDARD_PREFIXES[prefix[:-1]] + text.removeprefix(prefix)
    return text if ":" in text else address + text


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return _number("value", value)
    return str(value).strip()


def _number(name: str, value: Any) -> str:
    """A number without trailing zeros and without an exponent."""
    try:
        number = Decimal(str(value).strip())
    except InvalidOperation as error:
        raise BadInput(name, value, f"{name} is {value!r}; it must be a number.") from error
    if not number.is_finite():
        raise BadInput(name, str(value), f"{name} is {value!r}; it must be finite.")
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def utc_time(name: str, text: str) -> str:
    """A time in UTC with three decimals; a fourth decimal of 5 or more rounds up."""
    match = _TIME.match(text.strip())
    try:
        if not match:
            raise ValueError
        zone = match[3] if match[3] != "Z" else "+00:00"
        moment = datetime.fromisoformat(match[1] + zone).astimezone(UTC)
    except ValueError as error:
        raise BadInput(
            name,
            text,
            f"{name} is {text!r}; give a time with its offset, such as 2026-04-12T06:30:00+02:00.",
        ) from error
    digits = ((match[2] or "") + "0000")[:4]
    thousandths = int(digits[:3]) + (digits[3] >= "5")
    moment += timedelta(milliseconds=thousandths)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"


def _sorted(parts: Iterable[str]) -> str:
    return "".join(sorted(parts))


def _text(name: str, value: Any) -> str:
    if not isinstance(value, str):
        raise BadInput(name, value, f"{name} holds {value!r}; it must be a text.")
    return value.strip()


def _list(name: str, value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise BadInput(name, value, f"{name} must be a list.")
    return value


def _mapping(name: str, value: Any) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise BadInput(name, value, f"{name} must be an object with fields.")
    return value


def _mappings(name: str, value: Any) -> list[Mapping[str, Any]]:
    return [_mapping(name, v) for v in _list(name, value)]
