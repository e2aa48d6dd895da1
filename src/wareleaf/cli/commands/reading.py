"""Record a reading on a run or a lot."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import metered


@click.command("reading", context_settings={"ignore_unknown_options": True})
@click.argument("subject", metavar="RUN|LOT")
@click.argument("meter")
@click.argument("value")
@click.option("--reference", help="What the oven found on the same leaf, when it was tried.")
@recorded(at="When it was read; now when left out.")
@in_works(who=True)
def command(
    job: Job,
    subject: str,
    meter: str,
    value: str,
    reference: str | None,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Record VALUE as METER shows it: % for moisture, C (or F) for warmth, kg (g, lb) for weight.

    SUBJECT is a run (R-...) or a lot.
    """
    from wareleaf.works.run_stage import record_reading

    instrument = job.works.settings.meter_of(meter)
    event = record_reading(
        job.works,
        job.who,
        run_id=subject if subject.startswith("R-") else "",
        lot_id="" if subject.startswith("R-") else subject,
        meter=meter,
        value=metered(instrument, value),
        at=job.at(at),
        document=document,
        reference_value=None if reference is None else metered(instrument, reference),
        note=note,
    )
    facts = event.facts
    lines = [
        f"Recorded: {facts['quantity']} {facts['value']:g} (± {facts['standard_uncertainty']:.2g} "
        f"{facts['unit']}), {instrument.name}.",
    ]
    if subject.startswith("R-"):
        lines.append(next_step(f"predict {subject}"))
    job.say(event, lines)
