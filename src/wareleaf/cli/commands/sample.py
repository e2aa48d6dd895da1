"""Take a sample out of a lot, or list the samples that wait for a result."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, check_who, in_works, next_step, table
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import MASS_HELP
from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import parse_mass_kg


@click.command("sample")
@click.argument("lot_id", metavar="LOT", required=False)
@click.argument("mass", required=False)
@click.option("--waiting", "list_waiting", is_flag=True, help="List samples without a result.")
@recorded()
@in_works(who="asked")
def command(
    job: Job,
    lot_id: str | None,
    mass: str | None,
    list_waiting: bool,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Take MASS out of LOT as a sample and give it a number; the mass leaves the lot."""
    from wareleaf.works.bench import take_sample, waiting

    if list_waiting:
        found = waiting(job.works)
        rows = ((s.sample_id, s.lot_id, job.show(s.taken_at), s.who) for s in found)
        job.say(found, table(("sample", "lot", "taken", "by"), rows))
        return
    if lot_id is None or mass is None:
        raise BadInput("lot", lot_id, "Give LOT and MASS, or --waiting for the open samples.")
    check_who(job.works, job.who)
    mass_g = round(parse_mass_kg(mass, "mass_g") * 1000.0)
    sample_id = take_sample(
        job.works, job.who, lot_id, mass_g, at=job.at(at), document=document, note=note
    )
    lines = [
        f"Sample {sample_id} of lot {lot_id}: {mass_g} g.",
        next_step(f"result {lot_id} {sample_id} PARAMETER VALUE --unit UNIT --uncertainty U"),
    ]
    job.say({"sample_id": sample_id, "lot_id": lot_id, "mass_g": mass_g}, lines)


command.epilog = f"Mass: {MASS_HELP}."
