"""What is on which machine, and when it will be there."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, table


@click.command("floor")
@click.argument("site")
@in_works()
def command(job: Job, site: str) -> None:
    """Show every machine of SITE."""
    from wareleaf.works.floor import floor

    views = floor(job.works, job.works.settings.site_of(site).id)
    rows = []
    for view in views:
        if view.run is None:
            rows.append((view.machine.id, view.machine.name, "free", "", "", ""))
            continue
        finish = job.show(view.finish_at) if view.finish_at else (view.trouble or "?")
        spread = f"± {view.finish_sd.total_seconds() / 60.0:.0f} min" if view.finish_sd else ""
        lots = " ".join(view.run.lots)
        rows.append((view.machine.id, view.machine.name, view.run.run_id, lots, finish, spread))
    data = [
        {
            "machine": view.machine.id,
            "run": view.run,
            "finish_at": view.finish_at,
            "finish_sd_s": view.finish_sd,
            "prediction": view.prediction,
            "trouble": view.trouble,
        }
        for view in views
    ]
    job.say(data, table(("id", "machine", "run", "lots", "off at", ""), rows))
