"""Record a harvest: leaf that was cut and is on its way."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.typed import MASS_HELP
from wareleaf.measure.units import parse_mass_kg


@click.command("harvest")
@click.argument("source")
@click.argument("estimate", metavar="MASS")
@click.option("--number", "harvest_id", default="", help="Its number; made up when left out.")
@click.option("--cut", help="When it was cut; now when left out.")
@click.option("--vessel", default="", help="Vessel or vehicle.")
@click.option("--person", "people", multiple=True, help="Who cut it.")
@click.option("--document", default="", help="Number of its paper.")
@click.option("--note", default="", help="Anything worth remembering.")
@in_works(who=True)
def command(
    job: Job,
    source: str,
    estimate: str,
    harvest_id: str,
    cut: str | None,
    vessel: str,
    people: tuple[str, ...],
    document: str,
    note: str,
) -> None:
    """Record about MASS of leaf cut on SOURCE."""
    from wareleaf.works.growing import record_harvest

    found = record_harvest(
        job.works,
        job.who,
        source,
        parse_mass_kg(estimate, "estimated_kg"),
        harvest_id=harvest_id,
        cut_at=job.at(cut, "cut_at"),
        vessel=vessel,
        people=people,
        document=document,
        note=note,
    )
    local = found.cut_at.astimezone(job.works.settings.zone)
    lines = [f"Harvest {found.harvest_id}: about {found.estimated_kg:g} kg of {source}."]
    lines += [f"Its loads will be held: {w.sentence(local)}." for w in found.waits]
    job.say(found, [*lines, next_step(f"take-in {source} --harvest {found.harvest_id} ...")])


command.epilog = f"MASS: {MASS_HELP}."
