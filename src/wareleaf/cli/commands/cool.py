"""Record that lots, or a harvest on its way, were cooled."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works
from wareleaf.measure.units import parse_temperature_c


@click.command("cool")
@click.argument("lots", nargs=-1, metavar="[LOT...]")
@click.option("--method", required=True, help="ice, chilled sea water or cold room.")
@click.option("--temperature", required=True, help="Of what cools; C, or F when said.")
@click.option("--from", "began", help="Since when; now when left out.")
@click.option("--until", help="Until when; left out while it goes on.")
@click.option("--harvest", default="", help="Number of a harvest that was cooled on its way.")
@click.option("--place", default="", help="The vessel, the cold room.")
@click.option("--document", default="", help="Number of its paper.")
@click.option("--note", default="", help="Anything worth remembering.")
@in_works(who=True)
def command(
    job: Job,
    lots: tuple[str, ...],
    method: str,
    temperature: str,
    began: str | None,
    until: str | None,
    harvest: str,
    place: str,
    document: str,
    note: str,
) -> None:
    """Record the cooling of LOTS or of a harvest."""
    from wareleaf.works.cool import cool

    event = cool(
        job.works,
        job.who,
        lots,
        method,
        parse_temperature_c(temperature, "temperature_c"),
        began=job.at(began, "from"),
        until=job.at(until, "until"),
        harvest_id=harvest,
        place=place,
        document=document,
        note=note,
    )
    what = ", ".join([*lots, *([f"harvest {harvest}"] if harvest else [])])
    job.say(event, [f"{what}: {method} at {event.facts['temperature_c']:g} C."])
