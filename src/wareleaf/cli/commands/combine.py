"""Put lots of one leaf and form together."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded


@click.command("combine")
@click.argument("lot_ids", metavar="LOTS", nargs=-1, required=True)
@click.option("--place", default="floor", show_default=True, help="Where it lies.")
@recorded()
@in_works(who=True)
def command(
    job: Job, lot_ids: tuple[str, ...], place: str, at: str | None, document: str, note: str
) -> None:
    """Put all that remains of LOTS together into a new lot."""
    from wareleaf.works.handle_lot import combine

    lot = combine(
        job.works,
        job.who,
        lot_ids,
        place=place,
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg.", next_step(f"lot {lot.lot_id}")]
    job.say({"lot": lot}, lines)
