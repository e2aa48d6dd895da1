"""Find lots by form, leaf, state, or anything on a label."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, percent, table


@click.command("lots")
@click.argument("text", default="")
@click.option("--site", help="Only this site.")
@click.option("--form", default="", help="fresh, washed, blanched, withered, dried, flake...")
@click.option("--leaf", default="", help="Leaf profile id.")
@click.option("--state", default="", help="open, on_stage, held, released, used or shipped.")
@click.option("--all", "everything", is_flag=True, help="Also lots of which nothing is left.")
@in_works()
def command(
    job: Job, text: str, site: str | None, form: str, leaf: str, state: str, everything: bool
) -> None:
    """List lots, newest first; TEXT is looked for in number, label, place, grade and product."""
    from wareleaf.works.find_lots import find_lots

    if site is not None:
        job.works.settings.site_of(site)
    found = find_lots(
        job.works,
        site,
        text=text,
        form=form,
        leaf=leaf,
        status=state,
        in_stock_only=not everything,
    )
    rows = (
        (
            lot.lot_id,
            lot.label,
            lot.leaf,
            lot.form,
            kg(lot.remaining_mass_g),
            percent(lot.moisture_wb),
            lot.status,
            lot.place,
        )
        for lot in found.lots
    )
    head = ("lot", "label", "leaf", "form", "kg left", "moisture", "state", "place")
    lines = table(head, rows)
    if found.total > len(found.lots):
        lines.append(f"{found.total - len(found.lots)} more; narrow the search.")
    job.say({"total": found.total, "lots": found.lots}, lines)
