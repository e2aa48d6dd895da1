"""Check the seal of the book: every event as recorded, every lot as the events say."""

from __future__ import annotations

import sys

import click

from wareleaf.cli.common import Job, in_works


@click.command("verify")
@in_works()
def command(job: Job) -> None:
    """Check the whole book; exits with 1 when it does not hold."""
    report = job.works.book.verify()
    size, root = job.works.book.tree_root()
    lines = [
        report.message,
        f"{report.events} events, {report.lots} lots; head {report.head_hash}",
        f"tree of {size} events: {root}",
        "Keep head and tree elsewhere to notice a book that was cut short.",
    ]
    job.say({"report": report, "tree_size": size, "tree_root": root}, lines)
    if not report.ok:
        sys.exit(1)
