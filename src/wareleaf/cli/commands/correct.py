"""Correct an event; the old one stays readable and everything is derived again."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works
from wareleaf.cli.typed import number
from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import parse_mass_kg, parse_percent


@click.command("correct")
@click.argument("event_id", metavar="EVENT")
@click.argument("reason")
@click.option(
    "--weight",
    "weights",
    nargs=3,
    multiple=True,
    metavar="LOT MASS MOISTURE",
    help="What a lot of the event weighed and how wet it was, in %; repeat it.",
)
@click.option("--value", help="Right value of a reading or result, in the unit of the event.")
@click.option("--said", help="Right reason of a hold or of leaf thrown away.")
@click.option("--when", help="Right time of the event.")
@click.option("--document", "paper", help="Right number of its paper.")
@click.option("--void", is_flag=True, help="It never happened.")
@in_works(who=True)
def command(
    job: Job,
    event_id: str,
    reason: str,
    weights: tuple[tuple[str, str, str], ...],
    value: str | None,
    said: str | None,
    when: str | None,
    paper: str | None,
    void: bool,
) -> None:
    """Correct EVENT for REASON in one way: --weight, --value, --said or --void.

    Or with --when, --document or both.

    `wareleaf lot LOT` shows the events of a lot with their ids.
    """
    from wareleaf.works.correct_weights import correct_reason, correct_value, correct_weights
    from wareleaf.works.handle_lot import correct

    changes: dict[str, object] = {}
    if when is not None:
        changes["happened_at"] = job.at(when, "when")
    if paper is not None:
        changes["document"] = paper
    ways = [bool(weights), value is not None, said is not None, bool(changes), void]
    if sum(ways) != 1:
        raise BadInput(
            "way",
            None,
            "Give exactly one of --weight, --value, --said, --when, --document and --void.",
        )
    if weights:
        right = {
            lot: (parse_mass_kg(mass, "mass_kg"), parse_percent(moisture, "moisture_wb"))
            for lot, mass, moisture in weights
        }
        event = correct_weights(job.works, job.who, event_id, reason, right)
    elif value is not None:
        event = correct_value(job.works, job.who, event_id, reason, number(value, "value"))
    elif said is not None:
        event = correct_reason(job.works, job.who, event_id, reason, said)
    else:
        event = correct(job.works, job.who, event_id, reason, void=void, changes=changes or None)
    job.say(event, [f"Corrected by event {event.event_id}; both stay readable."])
