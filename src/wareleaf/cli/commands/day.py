"""The day at a glance: what to do next and by when, at each site."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, percent


@click.command("day")
@click.argument("site", required=False)
@in_works()
def command(job: Job, site: str | None) -> None:
    """Say what needs someone at SITE, or at every site, soonest first."""
    from wareleaf.works.day import DayView, day_view

    sites = [job.works.settings.site_of(site)] if site else job.works.settings.site
    views: dict[str, DayView] = {}
    lines = []
    for each in sites:
        view = views[each.id] = day_view(job.works, each.id)
        lines += [
            f"{each.name}, {job.show(view.now)}: {view.air_c:.1f} °C, {percent(view.air_rh)} rh; "
            f"{view.taken_in_kg:.0f} kg taken in today, {view.stock_kg:.0f} kg in store.",
            *(
                f"  {job.show(act.by)}  {act.urgency:5}  {act.where}: {act.what}"
                for act in view.acts
            ),
            *(f"  held: {lot.lot_id}, {lot.held_because}" for lot in view.held),
        ]
        if not view.acts:
            lines.append("  Nothing waits.")
    job.say(views, lines)
