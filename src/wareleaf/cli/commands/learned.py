"""The works' own rates and hours: what finished runs taught, and what that is worth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from wareleaf.cli.common import Job, in_works, table


@click.command("learned")
@click.argument("site")
@in_works()
def command(job: Job, site: str) -> None:
    """Show the rates and hours that the machines of SITE learned, leaf by leaf."""
    from wareleaf.works.own_paces import own_paces, worth_of_paces
    from wareleaf.works.own_rates import own_rates, worth

    rates, paces = own_rates(job.works, site), own_paces(job.works, site)
    rest = ("95 %", "lot to lot", "in words")
    lines = _table(rates, ("machine", "leaf", "runs", "times the profile", *rest))
    lines = lines or [
        "No run of a dryer or trough was finished yet, nor one on a floor with a sample read."
    ]
    worths = [worth(rates), worth_of_paces(paces)]
    if paces:
        timed = _table(paces, ("machine", "leaf", "runs", "times the hours as set", *rest))
        lines = [*lines, "", *timed]
    left_out = [pair for r in rates for pair in r.left_out] + [p for v in paces for p in v.left_out]
    out = [f"{run} says nothing: {why}" for run, why in left_out]
    job.say({"rates": rates, "paces": paces}, [*lines, *out, *filter(None, worths)])


def _table(views: Sequence[Any], head: tuple[str, ...]) -> list[str]:
    rows = []
    for view in views:
        found = view.learned
        rows.append(
            (
                view.machine.name,
                view.leaf,
                str(len(view.runs)),
                "" if found is None else f"{found.multiplier:.2f}",
                "" if found is None else f"{found.low:.2f} to {found.high:.2f}",
                "" if found is None else f"{100 * found.lot_log_sd:.0f} %",
                view.sentence,
            )
        )
    return list(table(head, rows)) if rows else []
