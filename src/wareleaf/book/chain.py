"""One canonical form of an event and a hash that ties it to all before it.

The canonical form follows RFC 8785 (JSON Canonicalization Scheme): keys sorted by their UTF-16
units, no blanks, numbers as ECMAScript prints them. Whole numbers beyond 2**53 are refused, for
other readers of JSON would round them.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from json.encoder import encode_basestring

from wareleaf.book.event import JSON, Event, event_to_json
from wareleaf.measure.errors import BadInput

GENESIS = "0" * 64
"""The hash before the first event."""

_CHAIN_MARK = b"\x02"  # RFC 6962 uses 0 for leaves and 1 for nodes


def canonical(value: JSON) -> bytes:
    """Canonical JSON of plain data.

    Raises
    ------
    BadInput
        For what JSON cannot carry exactly: NaN, infinity, whole numbers beyond 2**53.
    """
    try:
        return _text(value).encode()
    except UnicodeEncodeError as error:
        raise BadInput("facts", None, f"A text cannot be written as UTF-8: {error}.") from error


def canonical_json(event: Event) -> bytes:
    """Canonical JSON of an event; what is hashed and what is stored."""
    return canonical(event_to_json(event))


def event_hash(prev_hash: str, event: Event) -> str:
    """Hash of an event chained to the one before it, hex.

    Parameters
    ----------
    prev_hash : str
        Hash of the event before, 64 hex digits; `GENESIS` for the first.
    event : Event
        The event as recorded.
    """
    return body_hash(prev_hash, canonical_json(event))


def body_hash(prev_hash: str, body: bytes) -> str:
    """The same from the canonical bytes: SHA-256 of a mark, the hash before and the body."""
    return hashlib.sha256(_CHAIN_MARK + bytes.fromhex(prev_hash) + body).hexdigest()


def _text(value: JSON) -> str:
    if isinstance(value, str):
        return encode_basestring(value)
    if value is None:
        return "null"
    if value is True:
        return "true"
    if value is False:
        return "false"
    if isinstance(value, int):
        if abs(value) > 2**53:
            raise BadInput("facts", value, f"{value} is beyond 2**53; give it as text.")
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, Mapping):
        return _object(value)
    if isinstance(value, (list, tuple)):
        return "[" + ",".join(map(_text, value)) + "]"
    raise BadInput("facts", str(value), f"{value!r} cannot be kept; it must be plain JSON.")


def _object(value: Mapping[str, JSON]) -> str:
    for key in value:
        if not isinstance(key, str):
            raise BadInput("facts", str(key), f"The key {key!r} must be a text.")
    keys = sorted(value) if all(k.isascii() for k in value) else sorted(value, key=_utf16)
    members = (f"{encode_basestring(k)}:{_text(value[k])}" for k in keys)
    return "{" + ",".join(members) + "}"


def _utf16(text: str) -> bytes:
    return text.encode("utf-16-be", "surrogatepass")


def _number(value: float) -> str:
    """A double as ECMAScript's Number::toString prints it (ECMA-262, RFC 8785 section 3.2.2.3)."""
    if not math.isfinite(value):
        raise BadInput("facts", str(value), f"{value} cannot be kept; give a finite number.")
    if value == 0.0:
        return "0"
    sign = "-" if value < 0 else ""
    mantissa, _, exponent = repr(abs(value)).partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(exponent or 0) - (len(whole + fraction) - len(digits))
    digits = digits.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    power = f"{point - 1:+d}"
    rest = f".{digits[1:]}" if count > 1 else ""
    return f"{sign}{digits[0]}{rest}e{power}"
