"""Take in a load: weigh it, judge its moisture, give it a lot number."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, next_step, percent
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import MASS_HELP, fraction, mass_kg
from wareleaf.measure.units import parse_temperature_c

if TYPE_CHECKING:
    from wareleaf.works.take_in import Load


@click.command("take-in")
@click.argument("source")
@click.option("--gross", required=True, help=f"Full weight; {MASS_HELP}.")
@click.option("--tare", default="0", show_default=True, help="Empty weight of bins or bags.")
@click.option("--scale", required=True, help="Meter id of the scale.")
@click.option("--moisture", help="Measured moisture, % wet basis; the leaf's usual one without.")
@click.option("--moisture-meter", default="", help="Meter id of what measured it.")
@click.option("--surface-water", default="0", show_default=True, help="Rain or sea water on it.")
@click.option("--ticket", help="Weight on the grower's ticket.")
@click.option("--cut", help="When it was cut or plucked, like 2026-04-12 05:10.")
@click.option("--harvest", default="", help="Number of the harvest it is of.")
@click.option("--temperature", help="Of the leaf in the middle of a bin; C, or F when said.")
@recorded(at="When it arrived; now when left out.", document="Number of the paper it came with.")
@in_works(who=True)
def command(job: Job, **given: str | None) -> None:
    """Take in a load from SOURCE, a line or field of the settings.

    Next: wareleaf start MACHINE LOT puts it on a machine.
    """
    from wareleaf.works.take_in import take_in

    event, lot = take_in(job.works, job.who, _load(job, given))
    held = [f"It is on hold: {lot.held_because}."] if lot.held_because else []
    lines = [
        f"Lot {lot.lot_id}: {lot.mass_g / 1000.0:g} kg of {lot.label} (± "
        f"{lot.mass_sd_g / 1000.0:.1f} kg), {percent(lot.moisture_wb)} wet basis, "
        f"{lot.dry_g / 1000.0:g} kg dry matter.",
        *held,
        next_step(f"day {lot.site}"),
    ]
    job.say({"event_id": event.event_id, "lot": lot}, lines)


def _load(job: Job, given: dict[str, str | None]) -> Load:
    from wareleaf.works.take_in import Load

    temperature = given["temperature"]
    return Load(
        source=str(given["source"]),
        gross_kg=mass_kg(given["gross"], "gross_kg") or 0.0,
        tare_kg=mass_kg(given["tare"], "tare_kg") or 0.0,
        meter=str(given["scale"]),
        moisture_wb=fraction(given["moisture"], "moisture_wb"),
        moisture_meter=given["moisture_meter"] or "",
        surface_water_kg=mass_kg(given["surface_water"], "surface_water_kg") or 0.0,
        ticket_kg=mass_kg(given["ticket"], "ticket_kg"),
        cut_at=job.at(given["cut"], "cut_at"),
        temperature_c=None if temperature is None else parse_temperature_c(temperature),
        arrived_at=job.at(given["at"], "arrived_at"),
        document=given["document"] or "",
        note=given["note"] or "",
        harvest=given["harvest"] or "",
    )
