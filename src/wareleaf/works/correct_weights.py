"""Correct a weight, a moisture or a reading that was typed wrong.

The replacement is made here as a whole, so that its water closes again and its uncertainty fits
its new weight; `handle_lot.correct` records it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from wareleaf.book import Event, Made, as_meant
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.handle_lot import correct
from wareleaf.works.house import Works
from wareleaf.works.record import dry_sd_kg

WEIGHED = ("intake", "stage_finished", "split", "rework")
VALUED = ("reading", "result")
REASONED = ("hold", "waste")


def in_force(works: Works, event_id: str) -> Event:
    """The event as it may be corrected: itself, refused when a later one stands in its place."""
    row = works.book.event(event_id)
    if row.superseded_by:
        raise BadInput(
            "event_id",
            event_id,
            f"Event {event_id} was corrected already; correct {row.superseded_by} instead.",
        )
    return row.event


def correct_weights(
    works: Works,
    who: str,
    event_id: str,
    reason: str,
    weights: Mapping[str, tuple[float, float]],
    more: Mapping[str, Any] | None = None,
) -> Event:
    """Put right what lots weighed and how wet they were, as (kg, fraction wet basis) by lot.

    ``more`` is what else was wrong: the time or the paper, as `handle_lot.correct` takes it.

    Raises
    ------
    BadInput
        For weights or moistures that cannot be, a lot the event did not make, or a correction that
        would leave a later event without its leaf.
    """
    old = as_meant(in_force(works, event_id))
    made = {m.lot_id for m in old.outputs}
    for lot_id in weights:
        require(lot_id in made, "lot_id", lot_id, f"That event did not make lot {lot_id}.")
    outputs = tuple(
        _reweighed(m, *weights[m.lot_id]) if m.lot_id in weights else m for m in old.outputs
    )
    changes: dict[str, Any] = {"outputs": outputs, **(more or {})}
    if old.kind == "intake":
        # The scale's own figures are replaced by the net weight that is now said to be right.
        first = outputs[0]
        changes["facts"] = {
            **old.facts,
            "gross_kg": first.mass_g / 1000.0
            + float(old.facts.get("tare_kg") or 0.0)
            + float(old.facts.get("surface_water_kg") or 0.0),
            "moisture_wb": (first.mass_g - first.dry_g) / first.mass_g,
        }
    if any(s.name == "water" for s in old.streams):
        lost = sum(m.mass_g - m.dry_g for m in old.outputs) - sum(
            m.mass_g - m.dry_g for m in outputs
        )
        changes["streams"] = tuple(
            replace(s, mass_g=s.mass_g + lost) if s.name == "water" else s for s in old.streams
        )
    return correct(works, who, event_id, reason, changes=changes)


def correct_value(
    works: Works,
    who: str,
    event_id: str,
    reason: str,
    value: float,
    more: Mapping[str, Any] | None = None,
) -> Event:
    """Put right the value of a reading or a result, in its own unit; ``more`` as above."""
    old = as_meant(in_force(works, event_id))
    require(
        old.kind in VALUED,
        "event_id",
        event_id,
        "That event has no value to correct.",
    )
    changes = {"facts": {**old.facts, "value": value}, **(more or {})}
    return correct(works, who, event_id, reason, changes=changes)


def correct_reason(
    works: Works,
    who: str,
    event_id: str,
    reason: str,
    said: str,
    more: Mapping[str, Any] | None = None,
) -> Event:
    """Put right why a lot was held or wasted; ``more`` as above.

    Raises
    ------
    BadInput
        For an entry without such a reason, or an empty one.
    """
    old = as_meant(in_force(works, event_id))
    require(old.kind in REASONED, "event_id", event_id, "That event has no reason to correct.")
    require(bool(said.strip()), "said", said, f"The reason of the {old.kind} is empty; say why.")
    changes = {"facts": {**old.facts, "reason": said.strip()}, **(more or {})}
    return correct(works, who, event_id, reason, changes=changes)


def _reweighed(made: Made, mass_kg: float, moisture_wb: float) -> Made:
    require(mass_kg > 0.0, "mass_kg", mass_kg, f"mass_kg is {mass_kg:g}; it must be above 0.")
    require(
        0.0 <= moisture_wb < 1.0,
        "moisture_wb",
        moisture_wb,
        f"moisture_wb is {moisture_wb:.1%}; it must be from 0 to under 100 %.",
    )
    # The meters are the same, so their relative spread is kept.
    mass_sd = made.mass_sd_g / made.mass_g * mass_kg
    weighing_g = made.dry_g / made.mass_g * made.mass_sd_g
    moisture_sd = max(made.dry_sd_g**2 - weighing_g**2, 0.0) ** 0.5 / made.mass_g
    return replace(
        made,
        mass_g=round(mass_kg * 1000.0),
        dry_g=round(mass_kg * 1000.0 * (1.0 - moisture_wb)),
        mass_sd_g=mass_sd * 1000.0,
        dry_sd_g=dry_sd_kg(mass_kg, mass_sd, moisture_wb, moisture_sd) * 1000.0,
    )
