"""Rework lots, packed ones too: open packs, send leaf through again."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import MASS_HELP, lots_and_masses
from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import parse_mass_kg


@click.command("rework")
@click.argument("lots", nargs=-1, required=True, metavar="LOT[=MASS]...")
@click.option("--into", multiple=True, required=True, metavar="FORM=MASS", help="What came of it.")
@click.option("--because", required=True, help="Why.")
@click.option("--waste", default="0", show_default=True, help="What was thrown away.")
@click.option("--scale", default="", help="Meter id of the scale.")
@click.option("--place", default="floor", show_default=True, help="Where the new lots lie.")
@recorded(note="")
@in_works(who=True)
def command(
    job: Job,
    lots: tuple[str, ...],
    into: tuple[str, ...],
    because: str,
    waste: str,
    scale: str,
    place: str,
    document: str,
    at: str | None,
) -> None:
    """Rework LOTS into new lots; --into may be given several times."""
    from wareleaf.works.rework import Part, rework

    parts = []
    for text in into:
        form, equals, mass = text.partition("=")
        if not equals:
            raise BadInput("into", text, f"{text!r} is not FORM=MASS, like flake=12.5.")
        parts.append(Part(parse_mass_kg(mass, "into"), form.strip(), place))
    made = rework(
        job.works,
        job.who,
        lots_and_masses(lots),
        parts,
        because,
        waste_kg=parse_mass_kg(waste, "waste_kg"),
        meter=scale,
        document=document,
        happened_at=job.at(at),
    )
    lines = [f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg {lot.form}, {lot.status}." for lot in made]
    job.say({"lots": made}, [*lines, next_step(f"lot {made[0].lot_id}")])


command.epilog = f"Masses: {MASS_HELP}."
