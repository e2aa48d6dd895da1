"""What came off a dryer in the last year, and the run that is usual for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from statistics import stdev

from wareleaf import leaf as leaves
from wareleaf.book import Event
from wareleaf.stages import dry
from wareleaf.works.charge import Charge
from wareleaf.works.controls import full_settings
from wareleaf.works.house import Works
from wareleaf.works.machines import dryer_of
from wareleaf.works.predict.base import Ask
from wareleaf.works.predict.dryers import dry_run_of
from wareleaf.works.predict.own_rate import own_rate
from wareleaf.works.settings import Equipment

LOOK_BACK = timedelta(days=365)
ENOUGH = 8  # measured lots from which the book's own spread is taken (own choice)
USUAL_H = 4.0  # of feed, where the book has no charge to go by (own choice)


@dataclass(frozen=True)
class Outlets:
    """Lots that came off a dryer: outlet moistures, and what fed them."""

    outlet_wb: tuple[float, ...]
    feed_wb: tuple[float, ...]
    feed_kg: tuple[float, ...]
    dry_matter_kg: float


def outlets(works: Works, machine: Equipment, leaf_id: str) -> Outlets:
    """What came off a dryer in the last year, run by run."""
    since = works.now() - LOOK_BACK
    events = works.book.events_in_force(kind="stage_finished", since=since, site=machine.site)
    made = [
        e
        for e in events
        if e.facts.get("equipment") == machine.id
        and e.inputs
        and e.outputs
        and all(m.leaf == leaf_id for m in e.outputs)
    ]
    return Outlets(
        outlet_wb=tuple(_moisture([(m.mass_g, m.dry_g) for m in e.outputs]) for e in made),
        feed_wb=tuple(_moisture([(d.mass_g, d.dry_g) for d in e.inputs]) for e in made),
        feed_kg=tuple(sum(d.mass_g for d in e.inputs) / 1000.0 for e in made),
        dry_matter_kg=sum(_dry_kg(e) for e in made),
    )


def _moisture(parts: Sequence[tuple[int, int]]) -> float:
    return 1.0 - sum(dry for _, dry in parts) / sum(mass for mass, _ in parts)


def _dry_kg(event: Event) -> float:
    return sum(m.dry_g for m in event.outputs) / 1000.0


def usual_run(
    works: Works, machine: Equipment, leaf_id: str, made: Outlets
) -> tuple[dry.Dryer, dry.DryRun]:
    """The dryer at its usual settings with a usual charge, at the works' own rate if learned."""
    settings = full_settings(machine, {})
    feed_sd, count = 0.01, len(made.feed_wb)
    feed, mass = leaves.profile(leaf_id).moisture_wb_fresh, settings["feed_kg_h"] * USUAL_H
    if count:
        feed, mass = sum(made.feed_wb) / count, sum(made.feed_kg) / count
    if count >= ENOUGH:
        feed_sd = stdev(made.feed_wb)
    charge = Charge(leaf_id, mass, feed, feed_sd, 0.0)
    now = works.now()
    rate = own_rate(works, machine, leaf_id, now)
    ask = Ask(works, machine, charge, settings, now, rate=rate)
    return dryer_of(machine, settings), dry_run_of(ask)
