"""Reconcile a day, a week, a stretch or the season: which booked number does not fit the rest."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import click

from wareleaf.cli.common import Job, day, in_works, kg, table
from wareleaf.measure.errors import require

if TYPE_CHECKING:
    from wareleaf.works.reconcile_words import Doubt


@click.command("reconcile")
@click.argument("site")
@click.option("--day", "on", help="Day such as 2026-04-12; today when nothing is said.")
@click.option("--week", help="A day of the week, Monday to Sunday.")
@click.option("--season", is_flag=True, help="All since the last month in which nothing moved.")
@click.option("--from", "first", help="First day of a stretch.")
@click.option("--until", "last", help="Last day of it, included; today when left out.")
@click.option("--lots", is_flag=True, help="List every lot as booked and as it fits.")
@in_works()
def command(job: Job, site: str, lots: bool, **when: Any) -> None:
    """Say which weights and moistures of SITE do not fit the rest, and what would."""
    from wareleaf.works.reconcile_day import reconcile_stretch

    found = reconcile_stretch(job.works, site, *_stretch(job, site, when))
    lines = [*found.sentences]
    if found.doubts:
        lines += ["", *table(("lot", "what", "booked kg", "fits kg", "± (1 sd)", "times"),
                             [_row(d) for d in found.doubts]), ""]  # fmt: skip
        lines += [d.sentence for d in found.doubts]
    if lots:
        head = ("lot", "dry kg", "fits", "± (1 sd)", "known by", "mass kg", "fits", "± (1 sd)")
        rows = [
            (f.lot_id, kg(f.dry.booked_g), _kg(f.dry.fitted_g), _kg(f.dry.sd_g), f.dry.kind,
             kg(f.mass.booked_g), _kg(f.mass.fitted_g), _kg(f.mass.sd_g))
            for f in found.lots
        ]  # fmt: skip
        lines += ["", *table(head, rows)]
    job.say(found, lines)


def _stretch(job: Job, site: str, when: dict[str, Any]) -> tuple[date, date]:
    from wareleaf.works.reconcile_day import season_of, week_of

    zone = job.works.settings.zone
    today = job.works.now().astimezone(zone).date()
    said = [name for name in ("on", "week", "season", "first") if when[name]]
    require(
        len(said) < 2, "day", None, "Give one of --day, --week, --season and --from, not several."
    )
    require(
        when["last"] is None or when["first"] is not None,
        "until",
        when["last"],
        "--until needs --from, the first day of the stretch.",
    )
    if when["week"]:
        return week_of(day(when["week"], "week"))
    if when["season"]:
        return season_of(job.works, site, job.works.now()).astimezone(zone).date(), today
    if when["first"]:
        first = day(when["first"], "from")
        last = day(when["last"], "until") if when["last"] else max(first, today)
        require(first <= last, "from", first, f"from is {first}, after until, {last}; swap them.")
        return first, last
    on = day(when["on"], "day") if when["on"] else today
    return on, on


def _row(doubt: Doubt) -> tuple[str, ...]:
    what = {"lot": "booked", "draw": "drawn", "loss": "lost", "gap": "unexplained"}[doubt.what]
    quantity = "dry matter" if doubt.quantity == "dry" else "mass"
    return (
        doubt.lot_id,
        f"{quantity} {what}",
        kg(doubt.booked_g),
        kg(doubt.fitted_g),
        kg(doubt.sd_g),
        f"{abs(doubt.suspect.z):.1f}",
    )


def _kg(mass_g: float | None) -> str:
    return "?" if mass_g is None else kg(mass_g)
