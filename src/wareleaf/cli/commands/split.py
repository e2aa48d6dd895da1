"""Split a lot into weighed parts."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import MASS_HELP
from wareleaf.measure.units import parse_mass_kg


@click.command("split")
@click.argument("lot_id", metavar="LOT")
@click.argument("masses", nargs=-1, required=True)
@click.option("--scale", default="", help="Meter id of the scale.")
@click.option("--drawn", help="What was taken out of the lot; all that remains when left out.")
@recorded()
@in_works(who=True)
def command(
    job: Job,
    lot_id: str,
    masses: tuple[str, ...],
    scale: str,
    drawn: str | None,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Split LOT into parts of MASSES. What the parts do not account for stays visible."""
    from wareleaf.works.handle_lot import split

    parts = split(
        job.works,
        job.who,
        lot_id,
        [parse_mass_kg(mass, "masses_kg") for mass in masses],
        meter=scale,
        drawn_kg=None if drawn is None else parse_mass_kg(drawn, "drawn_kg"),
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [f"Lot {part.lot_id}: {kg(part.mass_g)} kg." for part in parts]
    job.say({"lots": parts}, [*lines, next_step("watch")])


command.epilog = f"Masses: {MASS_HELP}."
