"""One spelling for each GS1 identifier: EPC URNs and Digital Links of any domain to id.gs1.org.

Sources: GS1 EPC Tag Data Standard and GS1 Digital Link (from memory) and the published vectors of
the reference event hash (read). An indicator digit or extension digit stands behind the company
prefix in a URN and in front of it in a key.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from wareleaf.book.identifiers.check_digit import check_digit

CANONICAL = "https://id.gs1.org/"

_URN = re.compile(r"^urn:epc:(id|class|idpat):([a-z]+):(.+)$")


def _with_check(digits: str) -> str:
    return digits + check_digit(digits) if digits.isdigit() else digits


def _gtin(prefix: str, item: str) -> str:
    return _with_check(item[:1] + prefix + item[1:])


def _serial(value: str, ai: str) -> str:
    return "" if value in ("", "*") else f"/{ai}/{value}"


def _tail(value: str) -> str:
    return "" if value == "*" else value


_KEYS: dict[str, tuple[int, Callable[..., str]]] = {
    "sgtin": (3, lambda c, i, s: f"01/{_gtin(c, i)}{_serial(s, '21')}"),
    "lgtin": (3, lambda c, i, s: f"01/{_gtin(c, i)}{_serial(s, '10')}"),
    "upui": (3, lambda c, i, s: f"01/{_gtin(c, i)}{_serial(s, '235')}"),
    "sscc": (2, lambda c, s: f"00/{_with_check(s[:1] + c + s[1:])}"),
    "sgln": (
        3,
        lambda c, r, e: f"414/{_with_check(c + r)}{_serial('' if e == '0' else e, '254')}",
    ),
    "pgln": (2, lambda c, r: f"417/{_with_check(c + r)}"),
    "grai": (3, lambda c, t, s: f"8003/0{_with_check(c + t)}{_tail(s)}"),
    "giai": (2, lambda c, r: f"8004/{c}{r}"),
    "gsrn": (2, lambda c, r: f"8018/{_with_check(c + r)}"),
    "gsrnp": (2, lambda c, r: f"8017/{_with_check(c + r)}"),
    "gdti": (3, lambda c, t, s: f"253/{_with_check(c + t)}{_tail(s)}"),
    "sgcn": (3, lambda c, r, s: f"255/{_with_check(c + r)}{_tail(s)}"),
    "cpi": (3, lambda c, p, s: f"8010/{c}{p}{_serial(s, '8011')}"),
    "ginc": (2, lambda c, r: f"401/{c}{r}"),
    "gsin": (2, lambda c, r: f"402/{_with_check(c + r)}"),
    "itip": (5, lambda c, i, p, t, s: f"8006/{_gtin(c, i)}{p}{t}{_serial(s, '21')}"),
}
_FINER = {
    "01": ("21", "235", "10"),
    "8006": ("21", "10"),
    "414": ("254",),
    "8010": ("8011",),
}
_PRIMARY = (
    "00|01|253|255|401|402|410|411|412|413|414|415|416|417|8003|8004|8006|8010|8013|8017|8018"
)
_LINK = re.compile(
    rf"^https?://[^/?#]+(?:/[^?#]*?)??/({_PRIMARY})/([^/?#]+)((?:/[^/?#]+/[^/?#]+)*)/?(?:[?#].*)?$"
)


def canonical_uri(text: str) -> str:
    """The canonical Digital Link of a GS1 identifier; other text as it is.

    Only the finest level stays (a serial number before a lot), and a query is dropped.
    """
    return _from_urn(text) or _from_link(text) or text


def _from_urn(text: str) -> str | None:
    match = _URN.match(text)
    if not match or match[2] not in _KEYS:
        return None
    count, make = _KEYS[match[2]]
    parts = match[3].split(".", count - 1)
    return CANONICAL + make(*parts) if len(parts) == count else None


def _from_link(text: str) -> str | None:
    match = _LINK.match(text)
    if not match:
        return None
    primary, key, rest = match[1], match[2], match[3]
    if primary == "01" and key.isdigit():
        key = key.zfill(14)
    steps = rest.split("/")[1:]
    further = dict(zip(steps[::2], steps[1::2], strict=False))
    for ai in _FINER.get(primary, ()):
        if ai in further:
            return f"{CANONICAL}{primary}/{key}/{ai}/{further[ai]}"
    return f"{CANONICAL}{primary}/{key}"


def lot_uri(gtin: str, lot: str) -> str:
    """Digital Link of a lot of a product."""
    from urllib.parse import quote

    return f"{CANONICAL}01/{gtin.zfill(14)}/10/{quote(lot, safe='')}"
