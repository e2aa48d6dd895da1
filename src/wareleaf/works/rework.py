"""Rework: packs opened back to loose leaf, lots sent through again. Packed lots may be reworked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import FORMS, LotState, Made, Stream
from wareleaf.measure.errors import require
from wareleaf.works.handle_lot import shared_attributes
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import (
    Entry,
    draw,
    dry_sd_kg,
    moisture_sd,
    new_lot_id,
    record,
    refuse_more_out,
)

JOB = "rework"
INTO = tuple(f for f in FORMS if f not in ("fresh", "packed"))
"""Forms that rework gives; packing is a job of its own, with its own checks."""


@dataclass(frozen=True)
class Part:
    """A lot that rework gives: weight, form, where it lies."""

    mass_kg: float
    form: str
    place: str = "floor"


def rework(
    works: Works,
    who: str,
    lots_kg: Mapping[str, float | None],
    parts: Sequence[Part],
    because: str,
    *,
    waste_kg: float = 0.0,
    meter: str = "",
    happened_at: datetime | None = None,
    document: str = "",
    note: str = "",
) -> list[LotState]:
    """Record rework: lots of one leaf and site into new lots, with what was thrown away.

    The new lots have the moisture of what went in, are not released, and are on hold when any of
    it was. What the parts and the waste do not account for stays visible as unexplained.

    Raises
    ------
    BadInput
        For several leaves or sites, a form that rework does not give, or more out than in.
    """
    require(bool(lots_kg), "lots_kg", {}, "Name at least one lot to rework.")
    require(bool(parts), "parts", [], "Give the weight of at least one lot that came of it.")
    require(bool(because.strip()), "because", because, "because is empty; say why it is reworked.")
    require(waste_kg >= 0.0, "waste_kg", waste_kg, f"waste_kg is {waste_kg:g}; 0 or more.")
    lots = [works.book.lot(lot_id) for lot_id in lots_kg]
    require(
        len({(lot.leaf, lot.site) for lot in lots}) == 1,
        "lots_kg",
        list(lots_kg),
        "Only lots of one leaf and one site can be reworked together; use a blend for others.",
    )
    acting(works, who, JOB, lots[0].site)
    for part in parts:
        _check(part)
    draws = tuple(draw(lot, lots_kg[lot.lot_id]) for lot in lots)
    mass_g, dry_g = sum(d.mass_g for d in draws), sum(d.dry_g for d in draws)
    refuse_more_out(lots, mass_g, 1000.0 * (sum(p.mass_kg for p in parts) + waste_kg))
    at = happened_at or works.now()
    wet = 1.0 - dry_g / mass_g
    moist_sd = (
        sum((d.mass_g * moisture_sd(lot)) ** 2 for lot, d in zip(lots, draws, strict=True)) ** 0.5
        / mass_g
    )
    kept = {k: v for k, v in shared_attributes(lots).items() if k != "product"}
    outputs = []
    for part in parts:
        sd_kg = 0.002 * part.mass_kg
        if meter:
            sd_kg = works.settings.meter_at(lots[0].site, meter, "mass_kg").sd(part.mass_kg)
        outputs.append(
            Made(
                lot_id=new_lot_id(works, lots[0].site, at),
                leaf=lots[0].leaf,
                form=part.form,
                place=part.place,
                mass_g=round(part.mass_kg * 1000.0),
                dry_g=round(part.mass_kg * 1000.0 * (1.0 - wet)),
                mass_sd_g=sd_kg * 1000.0,
                dry_sd_g=dry_sd_kg(part.mass_kg, sd_kg, wet, moist_sd) * 1000.0,
                label="reworked",
                attributes=kept,
            )
        )
    waste_g = round(waste_kg * 1000.0)
    record(
        works,
        Entry(
            kind="rework",
            site=lots[0].site,
            who=who,
            place=lots[0].place,
            why=note or because,
            document=document,
            happened_at=at,
            inputs=draws,
            outputs=tuple(outputs),
            streams=(Stream("waste", waste_g, round(waste_g * (1.0 - wet))),) if waste_g else (),
            facts={"because": because.strip(), "meter": meter},
        ),
    )
    return [works.book.lot(m.lot_id) for m in outputs]


def _check(part: Part) -> None:
    require(
        part.mass_kg > 0.0,
        "parts",
        part.mass_kg,
        f"A reworked lot of {part.mass_kg:g} kg: it must be above 0.",
    )
    require(
        part.form in INTO,
        "form",
        part.form,
        f"form is {part.form!r}; rework gives {', '.join(INTO)}. What is packed again is packed "
        "as its own step.",
    )
