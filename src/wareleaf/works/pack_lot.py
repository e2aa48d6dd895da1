"""Pack lots into a product, check the declared weight, say how long the packs keep dry."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf.book import LotState, Made, Stream
from wareleaf.measure.basis import moisture_db_from_wb
from wareleaf.measure.errors import BadInput, require
from wareleaf.pack import (
    Climate,
    FillCheck,
    FillTarget,
    Pack,
    ShelfLife,
    check_fill,
    of_leaf,
    permeance_g_m2_day_pa,
    target_fill,
)
from wareleaf.pack import shelf_life as pack_life
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, draw, dry_sd_kg, moisture_sd, new_lot_id, record

# A store and a shop in a temperate climate; a works sets its own. Common practice, no source.
USUAL_CLIMATE = (Climate(float("inf"), 23.0, 0.65),)


@dataclass(frozen=True)
class PackRun:
    """What a pack run is made of.

    Parameters
    ----------
    product_id : str
        What is packed.
    lots_kg : mapping
        Kilograms taken from each lot; None for all that remains.
    packs : int
        How many were made.
    net_g : sequence of float
        Net contents of the packs that were weighed.
    scale : str
        The balance.
    film : str
        The product's own when empty.
    spill_kg : float
        Leaf swept up.
    film_batch, label_batch : str
        Roll or batch numbers of the film and of the labels, so that a fault of them can be found.
    """

    product_id: str
    lots_kg: Mapping[str, float | None]
    packs: int
    net_g: Sequence[float]
    scale: str
    film: str = ""
    spill_kg: float = 0.0
    film_batch: str = ""
    label_batch: str = ""


def pack(
    works: Works,
    who: str,
    run: PackRun,
    *,
    happened_at: datetime | None = None,
    document: str = "",
    note: str = "",
) -> LotState:
    """Record a pack run; the packs are a new lot.

    A run whose packs fail the declared weight is recorded all the same, because it happened; the
    check is kept with it and `watch` speaks of it.

    Raises
    ------
    BadInput
        For a held lot, another leaf than the product's, impossible numbers, or fewer packs weighed
        than the declared-weight check needs.
    """
    product = works.settings.product_of(run.product_id)
    acting(works, who, "pack", product.site)
    lots = [works.book.lot(lot_id) for lot_id in run.lots_kg]
    _check(run, lots, product.leaf)
    weight_check(product.nominal_g, run.packs, run.net_g)  # too few weighed cannot be judged later
    film = works.settings.film_of(run.film or product.film)
    scale = works.settings.meter_at(product.site, run.scale, "net_g", "scale")
    draws = tuple(draw(lot, run.lots_kg[lot.lot_id]) for lot in lots)
    drawn_g, drawn_dry_g = sum(d.mass_g for d in draws), sum(d.dry_g for d in draws)
    dry_share = drawn_dry_g / drawn_g
    mean_g = statistics.fmean(run.net_g)
    spread_g = statistics.stdev(run.net_g) if len(run.net_g) > 1 else product.nominal_g * 0.02
    mass_g = round(mean_g * run.packs)
    mass_sd_g = (
        (run.packs * spread_g / len(run.net_g) ** 0.5) ** 2 + (run.packs * scale.sd(mean_g)) ** 2
    ) ** 0.5
    # The leaf is as uncertain in moisture as the lots it was drawn from.
    moist_sd = (
        sum((d.mass_g * moisture_sd(lot)) ** 2 for lot, d in zip(lots, draws, strict=True)) ** 0.5
        / drawn_g
    )
    at = happened_at or works.now()
    lot_id = new_lot_id(works, product.site, at)
    best_before = (at + timedelta(days=product.best_before_days)).date()
    made = Made(
        lot_id=lot_id,
        leaf=product.leaf,
        form="packed",
        place="pack store",
        mass_g=mass_g,
        dry_g=round(mass_g * dry_share),
        mass_sd_g=mass_sd_g,
        dry_sd_g=dry_sd_kg(mass_g, mass_sd_g, 1.0 - dry_share, moist_sd),  # grams throughout
        label=product.name,
        attributes={
            "product": product.id,
            "packs": run.packs,
            "nominal_g": product.nominal_g,
            "film": film.id,
            "best_before": best_before.isoformat(),
        },
    )
    streams: tuple[Stream, ...] = ()
    if run.spill_kg > 0.0:
        spill_g = round(run.spill_kg * 1000.0)
        streams = (Stream("spill", spill_g, round(spill_g * dry_share)),)
    record(
        works,
        Entry(
            kind="pack",
            site=product.site,
            who=who,
            place="packing",
            why=note,
            document=document,
            happened_at=at,
            inputs=draws,
            outputs=(made,),
            streams=streams,
            facts={
                "film": film.id,
                "nominal_g": product.nominal_g,
                "packs": run.packs,
                "net_g": [float(g) for g in run.net_g],
                "scale": run.scale,
                "product": product.id,
                **_batches(run),
            },
        ),
    )
    return works.book.lot(lot_id)


def _batches(run: PackRun) -> dict[str, str]:
    """What was said of the film's and the labels' batch."""
    said = {"film_batch": run.film_batch.strip(), "label_batch": run.label_batch.strip()}
    return {name: batch for name, batch in said.items() if batch}


def _check(run: PackRun, lots: Sequence[LotState], leaf_id: str) -> None:
    require(bool(lots), "lots_kg", {}, "Choose at least one lot to pack.")
    require(run.packs > 0, "packs", run.packs, f"packs is {run.packs}; it must be 1 or more.")
    require(bool(run.net_g), "net_g", [], "Weigh at least one pack.")
    require(
        len(run.net_g) <= run.packs,
        "net_g",
        len(run.net_g),
        f"{len(run.net_g)} packs were weighed of {run.packs} made; that cannot be.",
    )
    require(
        run.spill_kg >= 0.0,
        "spill_kg",
        run.spill_kg,
        f"spill_kg is {run.spill_kg:g}; it must be 0 or more.",
    )
    for net in run.net_g:
        require(net > 0.0, "net_g", net, f"A pack of {net:g} g: it must be above 0.")
    for lot in lots:
        if lot.leaf != leaf_id:
            raise BadInput(
                "lots_kg", lot.lot_id, f"{lot.lot_id} is {lot.leaf}; this product takes {leaf_id}."
            )


def weight_check(nominal_g: float, packs: int, net_g: Sequence[float]) -> FillCheck:
    """The declared-weight check of a pack run."""
    return check_fill(nominal_g, packs, list(net_g))


def set_fill(works: Works, product_id: str, sd_g: float) -> FillTarget:
    """Mean fill that keeps the rules at the packs' scatter."""
    return target_fill(works.settings.product_of(product_id).nominal_g, sd_g)


def keeps_dry(
    works: Works,
    product_id: str,
    moisture_wb: float,
    climates: Sequence[Climate] = USUAL_CLIMATE,
    film_id: str = "",
) -> ShelfLife:
    """Days until a pack of this product, closed at this moisture, is wetter than it may be."""
    product = works.settings.product_of(product_id)
    film = works.settings.film_of(film_id or product.film)
    require(
        0.0 < moisture_wb < product.moisture_wb_max,
        "moisture_wb",
        moisture_wb,
        f"moisture_wb is {moisture_wb:.1%}; a pack must be closed below this product's "
        f"{product.moisture_wb_max:.1%}.",
    )
    dry_kg = product.nominal_g / 1000.0 * (1.0 - moisture_wb)
    return pack_life(
        Pack(
            isotherm=of_leaf(product.leaf),
            dry_matter_kg=dry_kg,
            moisture_db_start=moisture_db_from_wb(moisture_wb),
            moisture_db_limit=moisture_db_from_wb(product.moisture_wb_max),
            area_m2=product.pack_area_m2,
            permeance_g_m2_day_pa=permeance_g_m2_day_pa(
                film.wvtr_g_m2_day,
                film.wvtr_temperature_c,
                film.wvtr_relative_humidity_difference,
            ),
            permeance_temperature_c=film.wvtr_temperature_c,
        ),
        list(climates),
    )
