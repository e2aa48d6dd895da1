"""Which lot to test next."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("test-next")
@click.option("--site", help="Only this site.")
@click.option(
    "--most",
    type=click.IntRange(1, 200),
    default=10,
    show_default=True,
    help="How many at most.",
)
@in_works()
def command(job: Job, site: str | None, most: int) -> None:
    """List the tests that are worth most for their price, best first."""
    from wareleaf.works.properties import worth_testing

    if site is not None:
        job.works.settings.site_of(site)
    tests = worth_testing(job.works, site, most)
    currency = job.works.settings.firm.currency
    lines = []
    for at, test in enumerate(tests, start=1):
        lines.append(f"{at}. {test.sentence}")
        lines.append(f"   saves {test.saves:.0f} {currency} of wrong releases and wrong holds")
        if test.sample_id:
            lines.append(f"   its sample {test.sample_id} waits for a result")
    if tests:
        lines.append(next_step(f"sample {tests[0].lot_id} GRAMS"))
    else:
        lines.append("No test would change a decision enough to pay for itself.")
    job.say(tests, lines)
