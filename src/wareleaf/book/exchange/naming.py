"""Addresses of lots, places, people and documents in exchange, in both directions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote, unquote

from wareleaf.book.exchange.uris import CANONICAL, canonical_uri
from wareleaf.book.identifiers.check_digit import has_good_check_digit
from wareleaf.measure.errors import require

NAMESPACE = "urn:wareleaf:book:"
"""Namespace of our extension fields; our own, registered nowhere."""

PREFIX = "wareleaf"

_LOT = re.compile(r"^https://id\.gs1\.org/01/(\d{14})/10/([^/?#]+)$")


@dataclass(frozen=True)
class Naming:
    """How things are addressed.

    Parameters
    ----------
    base : str
        An address of the works' own, ending in ``/``; what has no GS1 key is named under it.
    gtin : mapping
        GTIN by product id; lots of those products are named by GTIN and lot.
    gln : mapping
        GLN by site, or by ``site/place``.
    party_gln : mapping
        GLN by customer or source id.
    """

    base: str
    gtin: Mapping[str, str] = field(default_factory=dict)
    gln: Mapping[str, str] = field(default_factory=dict)
    party_gln: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require(
            re.fullmatch(r"https?://[^\s/?#]+/([^\s?#]*/)?", self.base) is not None,
            "base",
            self.base,
            f"base is {self.base!r}; give an address of your own that ends in a slash, such as "
            "https://example.com/trace/.",
        )
        for name, keys, length in (
            ("gtin", self.gtin, (8, 12, 13, 14)),
            ("gln", self.gln, (13,)),
            ("party_gln", self.party_gln, (13,)),
        ):
            for owner, key in keys.items():
                require(
                    len(key) in length and has_good_check_digit(key),
                    f"{name}.{owner}",
                    key,
                    f"{name}.{owner} is {key!r}; it needs {' or '.join(map(str, length))} digits "
                    "with a right check digit.",
                )

    def lot(self, lot_id: str, product: str = "") -> str:
        """Address of a lot."""
        if product in self.gtin:
            return f"{CANONICAL}01/{self.gtin[product].zfill(14)}/10/{quote(lot_id, safe='')}"
        return self.own("lot", lot_id)

    def lot_id(self, address: str) -> str:
        """Lot of an address; the whole address when it is none of ours and no GS1 lot."""
        own = f"{self.base}lot/"
        if address.startswith(own):
            return unquote(address.removeprefix(own))
        match = _LOT.match(canonical_uri(address))
        return unquote(match[2]) if match else address

    def place(self, site: str, place: str) -> str:
        """Address of a place: its GLN, or a sub-location of the site's, or one of our own."""
        here = f"{site}/{place}"
        if here in self.gln:
            return f"{CANONICAL}414/{self.gln[here]}"
        if site in self.gln:
            end = f"/254/{quote(place, safe='')}" if place else ""
            return f"{CANONICAL}414/{self.gln[site]}{end}"
        return self.own("place", here if place else site)

    def party(self, party: str) -> str:
        """Address of a customer or a source."""
        if party in self.party_gln:
            return f"{CANONICAL}417/{self.party_gln[party]}"
        return self.own("party", party)

    def own(self, kind: str, name: str) -> str:
        """An address under our own base."""
        return f"{self.base}{kind}/{quote(name, safe='/' if kind == 'place' else '')}"


def our_prefix(context: Any) -> str:
    """Prefix, with its colon, of our own extension fields in a document; empty for a stranger's."""
    for part in context if isinstance(context, list) else [context]:
        if isinstance(part, Mapping):
            for prefix, space in part.items():
                if space == NAMESPACE:
                    return f"{prefix}:"
    return ""


def own_fields(data: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    """Our own extension fields of an event or an item, by name without prefix."""
    if not prefix:
        return {}
    return {k.removeprefix(prefix): v for k, v in data.items() if k.startswith(prefix)}
