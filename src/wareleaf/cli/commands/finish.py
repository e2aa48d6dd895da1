"""Take the leaf off a machine, weigh it and make its new lots."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step, percent
from wareleaf.cli.options import recorded
from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import parse_mass_kg, parse_percent


@click.command("finish")
@click.argument("run")
@click.option(
    "--off",
    "offs",
    nargs=2,
    multiple=True,
    required=True,
    metavar="MASS MOISTURE",
    help="What came off, as weighed, and its moisture in %; repeat it for several lots.",
)
@click.option("--grade", "grades", multiple=True, help="Grade of each --off, in the same order.")
@click.option("--scale", required=True, help="Meter id of the scale.")
@click.option("--moisture-meter", required=True, help="Meter id of what measured the moisture.")
@click.option("--form", default="", help="Form of the leaf when not the stage's usual one.")
@click.option("--place", default="store", show_default=True, help="Where it goes.")
@click.option("--label", default="", help="What people call it.")
@click.option(
    "--lost",
    "losses",
    nargs=3,
    multiple=True,
    metavar="NAME MASS MOISTURE",
    help="What was swept up or leached and how wet it is.",
)
@recorded(at="When it came off; now when left out.")
@in_works(who=True)
def command(
    job: Job,
    run: str,
    offs: tuple[tuple[str, str], ...],
    grades: tuple[str, ...],
    scale: str,
    moisture_meter: str,
    form: str,
    place: str,
    label: str,
    losses: tuple[tuple[str, str, str], ...],
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Take everything off RUN. Water closes the mass; dry matter that is missing stays visible."""
    from wareleaf.book import Stream
    from wareleaf.works.run_stage import Off, finish_run
    from wareleaf.works.weighed_off import does_not_fit

    if grades and len(grades) != len(offs):
        raise BadInput("grade", list(grades), f"{len(offs)} --off need {len(offs)} --grade.")
    off = [
        Off(
            mass_kg=parse_mass_kg(mass, "mass_kg"),
            moisture_wb=parse_percent(moisture, "moisture_wb"),
            moisture_meter=moisture_meter,
            scale=scale,
            form=form,
            place=place,
            label=label,
            attributes={"grade": grades[i]} if grades else None,
        )
        for i, (mass, moisture) in enumerate(offs)
    ]
    streams = []
    for name, mass, moisture in losses:
        mass_g = round(parse_mass_kg(mass, name) * 1000.0)
        streams.append(Stream(name, mass_g, round(mass_g * (1.0 - parse_percent(moisture, name)))))
    made = finish_run(
        job.works,
        job.who,
        run,
        off,
        streams=streams,
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [
        f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg {lot.form} at {percent(lot.moisture_wb)}."
        for lot in made
    ]
    wrong = does_not_fit(job.works, run)
    if wrong:
        lines.append(wrong)
    job.say(
        {"run_id": run, "lots": made, "does_not_fit": wrong},
        [*lines, next_step(f"lot {made[0].lot_id}")],
    )
