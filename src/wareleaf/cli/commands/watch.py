"""Look for what is wrong: weights, meters, wet lots, limits, short packs, lost mass."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works


@click.command("watch")
@click.option("--site", help="Only this site.")
@click.option("--since", help="Only what happened from then on.")
@in_works()
def command(job: Job, site: str | None, since: str | None) -> None:
    """Say everything in the book that is wrong or may be, the gravest first."""
    from wareleaf.works.watch import findings

    if site is not None:
        job.works.settings.site_of(site)
    found = findings(job.works, since=job.at(since, "since"), site=site)
    lines = [f"{job.show(f.at)}  {f.severity:4}  {f.kind:7}  {f.sentence}" for f in found]
    job.say(found, lines or ["Nothing stands out."])
