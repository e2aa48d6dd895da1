"""Receive back leaf that a customer returns; it is put on hold."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import lots_and_masses


@click.command("receive-back")
@click.argument("customer")
@click.argument("lots", nargs=-1, required=True, metavar="LOT[=MASS]...")
@click.option("--because", required=True, help="Why it came back.")
@click.option("--scale", default="", help="Meter id of the scale.")
@recorded(document="Number of the return note.")
@in_works(who=True)
def command(
    job: Job,
    customer: str,
    lots: tuple[str, ...],
    because: str,
    scale: str,
    document: str,
    at: str | None,
    note: str,
) -> None:
    """Receive LOTS back from CUSTOMER; without MASS all that they have of a lot."""
    from wareleaf.works.returns import receive_back

    made = receive_back(
        job.works,
        job.who,
        customer,
        lots_and_masses(lots),
        because,
        meter=scale,
        document=document,
        happened_at=job.at(at),
        note=note,
    )
    lines = [f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg, on hold: {lot.held_because}." for lot in made]
    job.say({"lots": made}, [*lines, next_step(f"trace {made[0].lot_id}")])
