"""Confirm a legal limit after reading its text; the quality manager's own act."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("confirm-limit")
@click.argument("limit_id", metavar="LIMIT")
@click.argument("text")
@in_works(who=True)
def command(job: Job, limit_id: str, text: str) -> None:
    """Confirm that LIMIT was read in the act; TEXT says which edition and where in it.

    `wareleaf assess LOT` names the limits that wait for this.
    """
    from wareleaf.works.release_lot import confirm_limit

    event = confirm_limit(job.works, job.who, limit_id, text)
    job.say(event, [f"Limit {limit_id} is confirmed.", next_step("assess LOT")])
