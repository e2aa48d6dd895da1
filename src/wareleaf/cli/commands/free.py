"""Take a lot off hold without releasing it to a market."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded


@click.command("free")
@click.argument("lot_id", metavar="LOT")
@click.argument("reason")
@recorded(document="Number of the paper that clears it.", note="")
@in_works(who=True)
def command(job: Job, lot_id: str, reason: str, at: str | None, document: str) -> None:
    """Take LOT off hold for REASON; only the quality manager may."""
    from wareleaf.works.handle_lot import free

    event = free(job.works, job.who, lot_id, reason, document=document, happened_at=job.at(at))
    job.say(event, [f"Lot {lot_id} is off hold.", next_step(f"assess {lot_id}")])
