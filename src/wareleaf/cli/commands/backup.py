"""Copy the whole works, book and settings, into a new folder, and check the copy."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("backup")
@click.argument("target", metavar="FOLDER", type=click.Path(path_type=Path))
@in_works()
def command(job: Job, target: Path) -> None:
    """Copy book and settings to FOLDER, which must be new. Others may go on working."""
    from wareleaf.works.keep_safe import back_up

    report = back_up(job.works, target)
    lines = [
        f"{report.events} events and {report.lots} lots copied to {target}. {report.message}",
        next_step(f"restore {target} NEW_FOLDER brings it back; try it once"),
    ]
    job.say(report, lines)
