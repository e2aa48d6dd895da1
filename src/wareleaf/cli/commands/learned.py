"""The works' own drying rates: what finished runs taught, and what that is worth."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, table


@click.command("learned")
@click.argument("site")
@in_works()
def command(job: Job, site: str) -> None:
    """Show the rates that the dryers and troughs of SITE learned, leaf by leaf."""
    from wareleaf.works.own_rates import own_rates, worth

    found = own_rates(job.works, site)
    rows = []
    for view in found:
        rate = view.learned
        rows.append(
            (
                view.machine.name,
                view.leaf,
                str(len(view.runs)),
                "" if rate is None else f"{rate.multiplier:.2f}",
                "" if rate is None else f"{rate.low:.2f} to {rate.high:.2f}",
                "" if rate is None else f"{100 * rate.lot_log_sd:.0f} %",
                view.sentence,
            )
        )
    head = ("machine", "leaf", "runs", "times the profile", "95 %", "lot to lot", "in words")
    lines = table(head, rows) if rows else ["No run of a dryer or trough was finished yet."]
    out = [f"{run} says nothing: {why}" for view in found for run, why in view.left_out]
    job.say(found, [*lines, *out, *([worth(found)] if worth(found) else [])])
