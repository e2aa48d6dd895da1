"""Write off part or all of a lot as waste."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import MASS_HELP, mass_kg


@click.command("write-off")
@click.argument("lot_id", metavar="LOT")
@click.argument("reason")
@click.option("--mass", help=f"How much, all that remains when left out; {MASS_HELP}.")
@recorded(note="")
@in_works(who=True)
def command(
    job: Job, lot_id: str, reason: str, mass: str | None, document: str, at: str | None
) -> None:
    """Waste LOT for REASON."""
    from wareleaf.works.handle_lot import write_off

    taken = mass_kg(mass, "mass_kg")
    event = write_off(
        job.works, job.who, lot_id, taken, reason, document=document, happened_at=job.at(at)
    )
    job.say(event, [f"{kg(event.inputs[0].mass_g)} kg of lot {lot_id} written off."])
