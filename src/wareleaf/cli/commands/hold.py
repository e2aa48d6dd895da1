"""Put a lot on hold: it cannot be packed, blended or shipped."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded


@click.command("hold")
@click.argument("lot_id", metavar="LOT")
@click.argument("reason")
@recorded(document="Number of the paper it rests on.", note="")
@in_works(who=True)
def command(job: Job, lot_id: str, reason: str, at: str | None, document: str) -> None:
    """Put LOT on hold for REASON, with all that was made of it and is still here."""
    from wareleaf.works.handle_lot import hold_all
    from wareleaf.works.trace_lot import trace

    events = hold_all(job.works, job.who, lot_id, reason, document=document, happened_at=job.at(at))
    others = [e.facts["lot_id"] for e in events[1:]]
    away = sorted({r.customer for r in trace(job.works, lot_id).receipts if r.net_kg > 0.0})
    lines = [f"Lot {lot_id} is on hold."]
    if others:
        lines.append(f"On hold with it, made of it: {', '.join(others)}.")
    if away:
        lines.append(f"Some of it has left, to {', '.join(away)}: wareleaf recall --lot {lot_id}")
    lines.append(next_step(f"free {lot_id} REASON ends it"))
    job.say({"events": events, "away": away}, lines)
