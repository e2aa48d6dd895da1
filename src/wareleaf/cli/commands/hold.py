"""Put a lot on hold: it cannot be packed, blended or shipped."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("hold")
@click.argument("lot_id", metavar="LOT")
@click.argument("reason")
@in_works(who=True)
def command(job: Job, lot_id: str, reason: str) -> None:
    """Put LOT on hold for REASON."""
    from wareleaf.works.handle_lot import hold

    event = hold(job.works, job.who, lot_id, reason)
    job.say(event, [f"Lot {lot_id} is on hold.", next_step(f"free {lot_id} REASON ends it")])
