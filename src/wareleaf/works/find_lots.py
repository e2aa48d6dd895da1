"""Find lots: by form, leaf and state, or by anything that stands on a label."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.label_lot import lot_on_label
from wareleaf.works.pallets import pallet_of, sscc_in

MOST_SHOWN = 200


@dataclass(frozen=True)
class Found:
    """Lots that match, newest first.

    Parameters
    ----------
    lots : tuple of LotState
        The first ones.
    total : int
        How many match in all.
    exact : str
        The lot that the text names, scanned or typed, whatever the other filters say.
    pallet : str
        Pallet number when the text is one that something stood on.
    forms, leaves : tuple of str
        What could be filtered by.
    """

    lots: tuple[LotState, ...]
    total: int
    exact: str
    forms: tuple[str, ...]
    leaves: tuple[str, ...]
    pallet: str = ""


def find_lots(
    works: Works,
    site_id: str | None,
    *,
    text: str = "",
    form: str = "",
    leaf: str = "",
    status: str = "",
    in_stock_only: bool = True,
    most: int = MOST_SHOWN,
) -> Found:
    """Find lots; ``text`` is looked for in number, label, place, grade, product, source,
    pallet, and the number of the works' own sheets.
    """
    wanted = clean(text)
    lots = works.book.lots(site=site_id, in_stock_only=in_stock_only)
    matching = [
        lot
        for lot in reversed(lots)
        if (not form or lot.form == form)
        and (not leaf or lot.leaf == leaf)
        and (not status or lot.status == status)
        and (not wanted or wanted in _searched(works, lot))
    ]
    return Found(
        lots=tuple(matching[:most]),
        total=len(matching),
        exact=lot_on_label(works, text),
        forms=tuple(sorted({lot.form for lot in lots})),
        leaves=tuple(sorted({lot.leaf for lot in lots})),
        pallet=pallet_named(works, text),
    )


def pallet_named(works: Works, text: str) -> str:
    """The pallet a text names, if anything ever stood on it; else empty."""
    sscc = sscc_in(text)
    try:
        return pallet_of(works, sscc).sscc if sscc else ""
    except BadInput:
        return ""


def clean(text: str) -> str:
    """A scanned or typed text: the lot number of an address on a label, else the text, in small."""
    found = text.strip().lower()
    for part in ("/trace/", "/lots/"):
        if part in found:
            found = found.split(part, 1)[1].split("?")[0].split("/")[0]
    return found


def _searched(works: Works, lot: LotState) -> str:
    names = {s.id: s.name for s in works.settings.source}
    products = {p.id: p.name for p in works.settings.product}
    source, product = str(lot.attributes.get("source", "")), str(lot.attributes.get("product", ""))
    parts = (
        lot.lot_id,
        lot.label,
        lot.place,
        source,
        names.get(source, ""),
        product,
        products.get(product, ""),
        str(lot.attributes.get("grade", "")),
        str(lot.attributes.get("own_number", "")),
        *lot.pallets,
    )
    return " ".join(parts).lower()
