"""Close a day or a stretch: in, out, lost and unexplained, by dry matter and by mass."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, day, in_works, kg, table


@click.command("balance")
@click.argument("site")
@click.option("--day", "on", help="Day such as 2026-04-12; today when left out.")
@click.option("--from", "first", help="First day of a stretch.")
@click.option("--until", "last", help="Last day of it, included; today when left out.")
@in_works()
def command(job: Job, site: str, on: str | None, first: str | None, last: str | None) -> None:
    """Show the balance of SITE."""
    from wareleaf.works.close_day import day_balance, stretch_balance

    if first is not None:
        end = day(last, "until") if last else job.works.now().date()
        found = stretch_balance(job.works, site, day(first, "from"), end)
    else:
        found = day_balance(job.works, site, day(on, "day") if on else None)
    sides = (found.dry, found.mass)
    rows = [
        ("taken in", *(kg(s.taken_in_g) for s in sides)),
        ("came back", *(kg(s.came_back_g) for s in sides)),
        ("moved in", *(kg(s.moved_in_g) for s in sides)),
        ("shipped", *(kg(s.shipped_g) for s in sides)),
        ("moved out", *(kg(s.moved_out_g) for s in sides)),
        *(
            (f"lost: {name}", *(kg(s.losses_g.get(name, 0)) for s in sides))
            for name in sorted({*found.dry.losses_g, *found.mass.losses_g})
        ),
        ("stock change", *(kg(s.stock_change_g) for s in sides)),
        ("unexplained", *(kg(s.unexplained_g) for s in sides)),
        ("  ± (1 sd)", *(kg(s.unexplained_sd_g) for s in sides)),
    ]
    job.say(found, table(("kg", "dry matter", "mass"), rows))
