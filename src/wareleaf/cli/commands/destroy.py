"""Destroy leaf before a witness: a lot, or all that a recall of a lot has put on hold."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg
from wareleaf.cli.typed import MASS_HELP, mass_kg
from wareleaf.measure.errors import BadInput


@click.command("destroy")
@click.argument("lot_id", metavar="LOT")
@click.argument("reason")
@click.option("--method", required=True, help="How: burnt, composted, to landfill...")
@click.option("--witness", required=True, help="Who saw it; not who records it.")
@click.option("--document", required=True, help="Number of the paper that shows it.")
@click.option("--mass", help=f"How much, all that remains when left out; {MASS_HELP}.")
@click.option("--all-held", is_flag=True, help="All that the recall of LOT reaches and is held.")
@click.option("--at", help="When; now when left out. Not with --all-held.")
@in_works(who=True)
def command(
    job: Job,
    lot_id: str,
    reason: str,
    method: str,
    witness: str,
    document: str,
    mass: str | None,
    all_held: bool,
    at: str | None,
) -> None:
    """Destroy LOT for REASON."""
    from wareleaf.works.destroy import destroy, destroy_held
    from wareleaf.works.recall_fault import Fault

    said = {"method": method, "witness": witness, "document": document, "reason": reason}
    if all_held and mass is not None:
        raise BadInput("mass", mass, "--all-held destroys whole lots; leave --mass out.")
    if all_held and at is not None:
        raise BadInput("at", at, "--all-held destroys what is held now; leave --at out.")
    if all_held:
        events = destroy_held(job.works, job.who, Fault("lot", lot_id), **said)
    else:
        taken = mass_kg(mass, "mass_kg")
        events = [destroy(job.works, job.who, lot_id, taken, **said, happened_at=job.at(at))]
    lines = [f"{kg(d.mass_g)} kg of lot {d.lot_id} destroyed." for e in events for d in e.inputs]
    job.say({"events": events}, lines)
