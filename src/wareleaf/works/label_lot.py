"""Which lot a label names: its number, one of our addresses, or GS1 fields in any barcode."""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import unquote

from wareleaf.book import LotState
from wareleaf.book.identifiers import (
    Element,
    fields_on_label,
    lots_it_may_name,
    without_symbology,
)
from wareleaf.measure.errors import BadInput
from wareleaf.works.exchange_book import naming_of
from wareleaf.works.house import Works

_PAGE = re.compile(r"/(?:trace|lots?|recall)/([^/?#\s]+)", re.IGNORECASE)

LONGEST = 2000
"""Characters of a scan at most; a GS1 DataMatrix holds 2,335 letters (own choice below that)."""


def lot_on_label(works: Works, text: str) -> str:
    """The lot that a scan or a typed text names beyond doubt, or an empty text."""
    found = lots_on_label(works, text)
    return found[0][0] if len(found) == 1 and not found[0][1] else ""


def lots_on_label(works: Works, text: str) -> tuple[tuple[str, str], ...]:
    """Lots that a text may name, each with what speaks against it (empty when nothing does)."""
    bare = without_symbology(text)
    if not bare or len(text) > LONGEST:
        return ()
    fields = fields_on_label(text)
    named = [e.value for e in fields if e.ai == "10"]
    found = _first(works, [*named, _of_address(works, bare), bare])
    lots = [found] if found else _run_together(works, bare)
    return tuple((lot.lot_id, _against(works, lot, fields)) for lot in lots)


def own_gtin(works: Works) -> dict[str, str]:
    """GTIN of 14 digits by product id, as told for exchange; empty when it never was."""
    try:
        return {product: gtin.zfill(14) for product, gtin in naming_of(works).gtin.items()}
    except BadInput:
        return {}


def _first(works: Works, names: Iterable[str]) -> LotState | None:
    """The first of some names that is a lot, in whatever case it was typed."""
    tried = [k for name in names for k in dict.fromkeys((name, name.upper(), name.lower())) if name]
    known = {lot.lot_id: lot for lot in works.book.lots(ids=tried)}
    return next((known[k] for k in tried if k in known), None)


def _of_address(works: Works, text: str) -> str:
    """The lot of one of our own addresses."""
    if "/" not in text:
        return ""
    own = _PAGE.search(text)
    if own:
        return unquote(own[1])
    try:
        return naming_of(works).lot_id(text)
    except BadInput:
        return ""


def _run_together(works: Works, text: str) -> list[LotState]:
    """Lots of a scan whose separators were dropped; more than one when it cannot be told."""
    may = lots_it_may_name(text)
    known = {lot.lot_id: lot for lot in works.book.lots(ids=may)} if may else {}
    return [known[k] for k in may if k in known]


def _against(works: Works, lot: LotState, fields: tuple[Element, ...]) -> str:
    """A lot number alone is not enough when the label names a product that this lot is not."""
    gtin = next((e.value for e in fields if e.ai == "01"), "")
    own = own_gtin(works)
    mine = own.get(str(lot.attributes.get("product", "")), "")
    if gtin and ((mine and mine != gtin) or (not mine and gtin in own.values())):
        return f"the label says product {gtin}, this lot is another product"
    return ""
