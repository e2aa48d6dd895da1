"""Pack lots into a product and check the declared weight."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import lots_and_masses, metered
from wareleaf.measure.units import parse_mass_kg


@click.command("pack")
@click.argument("product")
@click.argument("lots", nargs=-1, required=True, metavar="LOT[=MASS]...")
@click.option("--packs", required=True, type=int, help="How many were made.")
@click.option("--net", required=True, help="Net contents of weighed packs, in g: '501,499.5'.")
@click.option("--scale", required=True, help="Meter id of the balance.")
@click.option("--film", default="", help="Film id when not the product's own.")
@click.option("--film-batch", default="", help="Roll or batch number of the film.")
@click.option("--label-batch", default="", help="Batch number of the labels.")
@click.option("--spill", default="0", help="Leaf swept up, kg.")
@recorded(document="Number of the pack sheet.")
@in_works(who=True)
def command(
    job: Job,
    product: str,
    lots: tuple[str, ...],
    packs: int,
    net: str,
    scale: str,
    film: str,
    film_batch: str,
    label_batch: str,
    spill: str,
    document: str,
    at: str | None,
    note: str,
) -> None:
    """Pack LOTS into PRODUCT; MASS is what was taken of a lot, all of it when left out."""
    from wareleaf.works.pack_lot import PackRun, pack, weight_check

    balance = job.works.settings.meter_of(scale)
    run = PackRun(
        product_id=product,
        lots_kg=lots_and_masses(lots),
        packs=packs,
        net_g=[metered(balance, one) for one in net.replace(";", ",").split(",") if one.strip()],
        scale=scale,
        film=film,
        film_batch=film_batch,
        label_batch=label_batch,
        spill_kg=parse_mass_kg(spill, "spill_kg"),
    )
    made = pack(job.works, job.who, run, happened_at=job.at(at), document=document, note=note)
    checked = weight_check(job.works.settings.product_of(product).nominal_g, packs, run.net_g)
    lines = [
        f"Lot {made.lot_id}: {packs} packs, {kg(made.mass_g)} kg.",
        f"Declared weight: {checked.decision}; mean {checked.mean_error:+.1f} g over {checked.n}.",
        next_step(f"assess {made.lot_id}"),
    ]
    job.say({"lot": made, "weight_check": checked}, lines)
