"""Predicted against measured: how good the forecasts were, by stage, season, machine or leaf."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, table

if TYPE_CHECKING:
    from wareleaf.works.holdout import Group, Holdout

_LEVELS = ("stage", "season", "machine", "leaf", "month")


@click.command("holdout")
@click.option("--site", help="Only this site.")
@click.option("--since", help="Only runs that started from then on.")
@click.option("--until", help="Only runs that started before then.")
@click.option(
    "--by", type=click.Choice(_LEVELS), default="season", help="What runs are grouped by."
)
@click.option("--csv", "as_csv", is_flag=True, help="Every run as a row of CSV instead.")
@in_works()
def command(
    job: Job, site: str | None, since: str | None, until: str | None, by: str, as_csv: bool
) -> None:
    """Hold every forecast, kept when its run started, against what came off the machine."""
    from wareleaf.works.holdout import holdout

    found = holdout(job.works, site, since=job.at(since, "since"), until=job.at(until, "until"))
    if as_csv:
        job.say(found, _rows(found))
        return
    groups = [g for g in found.groups if g.level == by]
    left = [f"{count} left out: {why}." for why, count in found.skipped.items()]
    if not groups:
        job.say(found, ["No finished run has a forecast to hold against it yet.", *left])
        return
    lines = table(
        ("runs of", "quantity", "runs", "bias", "± 95 %", "spread", "band held", "the band"),
        (row for g in groups for row in _of_group(g)),
    )
    said = [
        "Bias is measured less forecast; spread its standard deviation. The band is the stated "
        "95 %, widened by the meter's own doubt.",
        *found.sentences,
        *left,
    ]
    job.say(found, [*lines, "", *said])


def _of_group(group: Group) -> list[tuple[str, ...]]:
    from wareleaf.works.holdout import QUANTITIES

    rows: list[tuple[str, ...]] = []
    for name, score in group.scores.items():
        per, unit = QUANTITIES[name]
        half = None if score.bias_low is None else score.bias - score.bias_low
        rows.append(
            (
                group.name,
                f"{name.split('_')[0]}, {unit}",
                str(score.n),
                f"{score.bias * per:+.2f}",
                "" if half is None else f"{half * per:.2f}",
                "" if score.spread is None else f"{score.spread * per:.2f}",
                f"{score.inside} of {score.banded}" if score.banded else "none stated",
                score.band if score.banded else "",
            )
        )
    return rows


_PLACE = ("run_id", "site", "stage", "equipment", "leaf", "season")
_NUMBERS = ("predicted", "measured", "predicted_sd", "measured_sd")


def _rows(found: Holdout) -> list[str]:
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow((*_PLACE, "started_at", "finished_at", "quantity", *_NUMBERS))
    for o in found.outcomes:
        place = [getattr(o, name) for name in _PLACE]
        when = [o.started_at.isoformat(), o.finished_at.isoformat()]
        for quantity, pair in o.pairs.items():
            numbers = [getattr(pair, name) for name in _NUMBERS]
            shown = ["" if v is None else f"{v:.6g}" for v in numbers]
            write.writerow((*place, *when, quantity, *shown))
    return out.getvalue().splitlines()
