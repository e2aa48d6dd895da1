"""Judge a lot: set its grade."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded


@click.command("grade")
@click.argument("lot_id", metavar="LOT")
@click.argument("grade_name", metavar="GRADE")
@click.option("--by", required=True, help="taste, hand or sieve.")
@recorded()
@in_works(who=True)
def command(
    job: Job, lot_id: str, grade_name: str, by: str, at: str | None, document: str, note: str
) -> None:
    """Set the grade of LOT to GRADE."""
    from wareleaf.works.judge import grade

    lot = grade(
        job.works,
        job.who,
        lot_id,
        grade_name,
        by,
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [f"Lot {lot_id} is graded {lot.attributes['grade']}.", next_step(f"lot {lot_id}")]
    job.say(lot, lines)
