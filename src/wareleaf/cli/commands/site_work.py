"""Record work on a line or field, and until when nothing should be cut there."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import days


@click.command("site-work")
@click.argument("source")
@click.argument("work")
@click.option("--substance", default="", help="What was put on.")
@click.option("--dose", default="", help="How much of it.")
@click.option("--interval", metavar="DAYS", help="Waiting interval in days; 0 for none.")
@recorded()
@in_works(who=True)
def command(
    job: Job,
    source: str,
    work: str,
    substance: str,
    dose: str,
    interval: str | None,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Record WORK on SOURCE. Leaf cut before the interval ended is put on hold."""
    from wareleaf.works.growing import record_site_work

    event, held = record_site_work(
        job.works,
        job.who,
        source,
        work,
        substance=substance,
        dose=dose,
        interval_days=None if interval is None else days(interval, "interval_days"),
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [f"{work} on {source} is in the book."]
    if held:
        lines.append(f"Put on hold, cut too early: {', '.join(held)}.")
    job.say({"event": event, "held": held}, [*lines, next_step("harvest SOURCE KG")])
