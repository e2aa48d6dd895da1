"""A load for the planner: its stages, hours, patience and prices, asked from the models."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from wareleaf import leaf as leaves
from wareleaf.plan.board import Frozen
from wareleaf.plan.loads import Load, Option, Step
from wareleaf.works.house import Works
from wareleaf.works.patience import waiting_temperature_c
from wareleaf.works.plan_day import worth
from wareleaf.works.plan_day.clock import DayClock
from wareleaf.works.plan_day.items import Item
from wareleaf.works.plan_day.legs import BATCH, Leg, Pace, legs_of, pace_from
from wareleaf.works.settings import Equipment

JUST_NOW_H = 1.0 / 12.0  # a run that is overdue is thought to end in five minutes


@dataclass(frozen=True)
class Sized:
    """An item with its legs and its load."""

    item: Item
    legs: tuple[Leg, ...]
    load: Load
    frozen: tuple[Frozen, ...] = ()
    parts: int | None = None


def size(
    works: Works,
    site_id: str,
    clock: DayClock,
    item: Item,
    told: list[str],
    broken: frozenset[str] = frozenset(),
) -> Sized | None:
    """Ask the stage models about an item; None, with a sentence, when no machine can do a stage."""
    if item.view:
        legs = _running_legs(works, site_id, item, told, item.view.machine.id in broken)
    else:
        legs = _legs(works, site_id, item)
    bad = next((leg for leg in legs if not leg.paces), None)
    if bad is not None:
        why = f" ({bad.troubles[0]})" if bad.troubles else ""
        told.append(f"{item.words} is not planned: no machine here can {bad.stage} it{why}.")
        return None
    for leg in legs:
        told.extend(f"{item.words}: {p.doubt}" for p in leg.paces if p.doubt)
    costs = works.settings.costs
    value = worth.value_per_kg(item.product, legs, item.charge.mass_kg, costs)
    hold_h, spoil_h = _patience(works, site_id, clock, item)
    steps = tuple(_step(works, site_id, item, legs, k, value) for k in range(len(legs)))
    spoilt = clock.hours(item.ready_at) + spoil_h <= clock.hours(works.now())
    load = Load(
        id=item.words,
        leaf=item.charge.leaf_id,
        mass_kg=item.charge.mass_kg,
        ready_h=clock.hours(item.ready_at),
        value_per_kg=value,
        hold_h=hold_h,
        spoil_h=spoil_h,
        route=steps,
        divert_price_per_kg=None if spoilt else costs.divert_per_kg,
        refuse_price_per_kg=costs.refuse_per_kg if item.kind == "expected" else None,
    )
    frozen = (_frozen(clock, item, clock.hours(works.now())),) if item.view else ()
    return Sized(item, legs, load, frozen, 1 if item.view else None)


def _legs(works: Works, site_id: str, item: Item) -> tuple[Leg, ...]:
    start = max(works.now(), item.ready_at)
    return legs_of(works, site_id, item.stages, item.charge, start)


def _running_legs(
    works: Works, site_id: str, item: Item, told: list[str], broken: bool
) -> tuple[Leg, ...]:
    """The stage under way as its readings have it, the rest from the models."""
    view = item.view
    assert view is not None and view.run is not None
    seen = view.prediction
    if seen is None:
        told.append(
            f"{item.words} on {view.machine.name}: its end is a guess ({view.trouble}). "
            "Take a reading and plan again."
        )
        first = Leg(view.machine.stage, item.charge, (_blind(view.machine),))
    else:
        settings = {k: float(v) for k, v in view.run.settings.items()}
        if not math.isfinite(seen.duration_h):
            told.append(f"{item.words} on {view.machine.name} will not get there in this air.")
        pace = pace_from(view.machine, item.charge, settings, seen)
        first = Leg(view.machine.stage, item.charge, (pace,))
    if broken:
        again = legs_of(works, site_id, item.stages[:1], item.charge, works.now())[0]
        others = tuple(p for p in again.paces if p.machine.id != view.machine.id)
        first = Leg(first.stage, first.charge, (*first.paces, *others))
    if len(item.stages) == 1:
        return (first,)
    start = max(works.now(), view.finish_at or works.now())
    rest = legs_of(works, site_id, item.stages[1:], first.after, start)
    return (first, *rest)


def _blind(machine: Equipment) -> Pace:
    """A machine whose model does not answer: an hour more, and the leaf as it went on."""
    return Pace(machine, 1.0, None, None, 1.0, 0.5, 0.1, 0.0, 0.0, 0.0, 0.0, 0.0, {})


def _frozen(clock: DayClock, item: Item, now_h: float) -> Frozen:
    view = item.view
    assert view is not None and view.run is not None
    start = clock.hours(view.run.started_at)
    end = clock.hours(view.finish_at) if view.finish_at else now_h + 1.0
    return Frozen(item.words, 0, 0, view.machine.id, start, max(end, now_h + JUST_NOW_H))


def _patience(works: Works, site_id: str, clock: DayClock, item: Item) -> tuple[float, float]:
    """Hours from ``ready_at`` until it loses value and until it is lost, in the coming air."""
    profile = leaves.profile(item.charge.leaf_id)
    warm_c = leaf_c(works, site_id, max(works.now(), item.ready_at))
    gone = clock.hours(item.ready_at) - clock.hours(item.cut_at)
    hold = max(0.0, profile.hold_hours(warm_c) - gone)
    return hold, max(hold, profile.spoil_hours(warm_c) - gone)


def leaf_c(works: Works, site_id: str, start: datetime, hours: int = 12) -> float:
    """Leaf that waits in the mean air of the coming hours, see `wareleaf.works.patience`."""
    from wareleaf.works.weather import window

    wall = start.astimezone(works.settings.zone).replace(tzinfo=None)
    air = window(works.weather(site_id), wall, hours)
    return waiting_temperature_c(float(np.mean(air.dry_bulb_c)))


def _step(
    works: Works, site_id: str, item: Item, legs: Sequence[Leg], k: int, value: float
) -> Step:
    leg = legs[k]
    running = item.view is not None
    batch = leg.stage in BATCH
    flows = k > 0 and not batch and legs[k - 1].stage not in BATCH
    wait, price = (None, 0.0) if k == 0 else _wait(works, site_id, item, legs[k - 1], leg, value)
    return Step(
        name=leg.stage,
        options=tuple(
            Option(
                p.machine.id,
                p.inside_h,
                None if p.rate_kg_h is not None else p.capacity_kg,
                p.rate_kg_h,
            )
            for p in leg.paces
        ),
        mass_factor=leg.charge.mass_kg / item.charge.mass_kg,
        charges=batch and (leg.stage == "roll" or running),
        flows=flows,
        crew=max(p.machine.crew_needed for p in leg.paces),
        max_wait_h=wait,
        wait_price_per_kg_h=price,
    )


def _wait(
    works: Works, site_id: str, item: Item, before: Leg, leg: Leg, value: float
) -> tuple[float, float]:
    """Hours leaf may lie before a later stage, and the price of each hour more per kilogram."""
    if before.stage in ("roll", "oxidise"):
        return worth.AFTER_ROLL_H, worth.AFTER_ROLL_LOST_PER_H * value
    profile = leaves.profile(leg.charge.leaf_id)
    hours = leg.charge.hours_since_cut - item.charge.hours_since_cut
    start = max(works.now(), item.ready_at) + timedelta(hours=max(0.0, hours))
    warm_c = leaf_c(works, site_id, start)
    hold, spoil = profile.hold_hours(warm_c), profile.spoil_hours(warm_c)
    return hold, value / max(spoil - hold, 0.5)
