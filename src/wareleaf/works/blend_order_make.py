"""Make a blend: draw from lots in store and record the new lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from wareleaf.book import JSON, Draw, LotState, Made
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.blend_order_store import form_of, grades_of
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, draw, new_lot_id, record

SMALLEST_DRAW_KG = 0.001


def make_blend(
    works: Works,
    who: str,
    draws_kg: Mapping[str, float],
    *,
    product_id: str = "",
    order_id: str = "",
    place: str = "store",
    label: str = "",
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> LotState:
    """Record a blend; it is a new lot. Mass and dry matter are those of its draws, to the gram.

    Raises
    ------
    BadInput
        For no draws, lots of another leaf or site, one on a machine or on hold, more than there
        is, or a person who may not.
    """
    require(bool(draws_kg), "draws_kg", {}, "Choose at least one lot to blend.")
    lots = [works.book.lot(lot_id) for lot_id in draws_kg]
    first = lots[0]
    acting(works, who, "make a blend", first.site)
    _check(lots, draws_kg)
    parts = [(lot, draw(lot, draws_kg[lot.lot_id])) for lot in lots]
    mass_g, dry_g = sum(d.mass_g for _, d in parts), sum(d.dry_g for _, d in parts)
    at = happened_at or works.now()
    lot_id = new_lot_id(works, first.site, at)
    made = Made(
        lot_id=lot_id,
        leaf=first.leaf,
        form="blended",
        place=place,
        mass_g=mass_g,
        dry_g=dry_g,
        # What a lot is off by, its draws share.
        mass_sd_g=sum((lot.mass_sd_g * d.mass_g / lot.mass_g) ** 2 for lot, d in parts) ** 0.5,
        dry_sd_g=sum((lot.dry_sd_g * d.mass_g / lot.mass_g) ** 2 for lot, d in parts) ** 0.5,
        label=label or (works.settings.product_of(product_id).name if product_id else "blend"),
        attributes=_attributes(parts, product_id, order_id, mass_g),
    )
    record(
        works,
        Entry(
            kind="blend",
            site=first.site,
            who=who,
            place=place,
            why=note,
            document=document,
            happened_at=at,
            inputs=tuple(d for _, d in parts),
            outputs=(made,),
            facts={"product": product_id, "order": order_id},
        ),
    )
    return works.book.lot(lot_id)


def _check(lots: Sequence[LotState], draws_kg: Mapping[str, float]) -> None:
    kinds = {(lot.leaf, lot.site) for lot in lots}
    require(
        len(kinds) == 1,
        "draws_kg",
        [lot.lot_id for lot in lots],
        "Only lots of one leaf and one site can be blended.",
    )
    for lot in lots:
        kg = draws_kg[lot.lot_id]
        if lot.on_runs:
            raise BadInput("draws_kg", lot.lot_id, f"{lot.lot_id} is on a machine.")
        require(
            SMALLEST_DRAW_KG <= kg <= lot.remaining_mass_g / 1000.0 + 5e-4,
            "draws_kg",
            kg,
            f"{kg:g} kg of {lot.lot_id}: it must be from {SMALLEST_DRAW_KG:g} to the "
            f"{lot.remaining_mass_g / 1000.0:g} kg that are left.",
        )


def _attributes(
    parts: Sequence[tuple[LotState, Draw]], product_id: str, order_id: str, mass_g: int
) -> dict[str, JSON]:
    """What the blend is made for, its form before, and its grades where all lots have one."""
    kept: dict[str, JSON] = {}
    if product_id:
        kept["product"] = product_id
    if order_id:
        kept["order"] = order_id
    forms = {form_of(lot) for lot, _ in parts}
    if len(forms) == 1:
        kept["blended_of"] = forms.pop()
    grades: dict[str, float] = {}
    for lot, drawn in parts:
        mine = grades_of(lot)
        if not mine:
            return kept
        for grade, share in mine.items():
            grades[grade] = grades.get(grade, 0.0) + share * drawn.mass_g / mass_g
    return {**kept, "grades": {g: round(s, 6) for g, s in sorted(grades.items())}}
