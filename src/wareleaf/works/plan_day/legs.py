"""Hours, mass and energy of each stage of a load, from the stage models in the coming air.

A prediction is made for a like load in round numbers (mass within 5 %, moisture within a point,
start within two hours) and kept, so that a day of many loads asks each model a few times only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from wareleaf import leaf as leaves
from wareleaf.measure.errors import BadInput
from wareleaf.works.charge import Charge
from wareleaf.works.controls import full_settings
from wareleaf.works.house import Works
from wareleaf.works.machines import fed_all_the_time
from wareleaf.works.predict import Prediction, aim_charge, out_leaf, predict_charge
from wareleaf.works.settings import Equipment

BATCH = frozenset({"wither", "roll", "oxidise"})
NEVER_H = 48.0  # booked for a wither that would not reach its moisture


@dataclass(frozen=True)
class Pace:
    """What one machine does with a load, each kilogram of entering leaf.

    Parameters
    ----------
    machine : Equipment
        Which.
    inside_h : float
        Hours of one charge, or hours a kilogram stays inside a machine that is fed all the time.
    capacity_kg, rate_kg_h : float or None
        Batch capacity or feed.
    out_per_kg, moisture_wb_out, moisture_sd_out : float
        What comes off.
    fuel_kg, heat_kwh, electricity_kwh : float
        For each kilogram that goes on.
    fuel_kg_h, warm_up_fuel_kg : float
        Fuel of an hour of running at full feed, and of making the machine ready.
    settings : mapping
        The settings this rests on.
    doubt : str
        Why this should not be taken at its word; empty when it may.
    """

    machine: Equipment
    inside_h: float
    capacity_kg: float | None
    rate_kg_h: float | None
    out_per_kg: float
    moisture_wb_out: float
    moisture_sd_out: float
    fuel_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg_h: float
    warm_up_fuel_kg: float
    settings: Mapping[str, float]
    doubt: str = ""

    def kept_h(self, mass_kg: float) -> float:
        """Hours for which it keeps leaf of its kind off the machine."""
        if self.rate_kg_h is not None and fed_all_the_time(self.machine):
            return mass_kg / self.rate_kg_h
        return self.hours(mass_kg)

    def hours(self, mass_kg: float) -> float:
        """Hours for a mass of entering leaf."""
        if self.rate_kg_h is not None:
            return self.inside_h + mass_kg / self.rate_kg_h
        if self.capacity_kg is None:
            return self.inside_h
        return self.inside_h * math.ceil(mass_kg / self.capacity_kg - 1e-9)


@dataclass(frozen=True)
class Leg:
    """One stage of a load's route: the leaf that goes on and the machines that can take it."""

    stage: str
    charge: Charge
    paces: tuple[Pace, ...]
    troubles: tuple[str, ...] = ()

    @property
    def after(self) -> Charge:
        """The leaf that comes off."""
        first = self.paces[0]
        return Charge(
            out_leaf(self.stage, self.charge.leaf_id),
            self.charge.mass_kg * first.out_per_kg,
            first.moisture_wb_out,
            first.moisture_sd_out,
            self.charge.hours_since_cut + first.hours(self.charge.mass_kg),
        )


def legs_of(
    works: Works, site_id: str, stages: tuple[str, ...], charge: Charge, start: datetime
) -> tuple[Leg, ...]:
    """Follow a load through its stages from a time on; stops after a stage no machine can do."""
    found: list[Leg] = []
    for stage in stages:
        leg = _leg(works, site_id, stage, charge, start)
        found.append(leg)
        if not leg.paces:
            break
        start = start + timedelta(hours=leg.paces[0].hours(charge.mass_kg))
        charge = leg.after
    return tuple(found)


def _leg(works: Works, site_id: str, stage: str, charge: Charge, start: datetime) -> Leg:
    paces, troubles = [], []
    for machine in works.settings.equipment:
        if machine.site != site_id or machine.stage != stage:
            continue
        try:
            paces.append(pace_of(works, machine, charge, start))
        except BadInput as error:
            troubles.append(f"{machine.name}: {error}")
    return Leg(stage, charge, tuple(paces), tuple(troubles))


_KEPT: dict[tuple[object, ...], Pace] = {}
_MOST_KEPT = 4096


def pace_of(works: Works, machine: Equipment, charge: Charge, start: datetime) -> Pace:
    """What a machine does with a load, from its model at the works' own settings.

    A dryer whose usual settings would leave the leaf too wet to store is asked for a longer stay.

    Raises
    ------
    BadInput
        When the model refuses the load.
    """
    near = _rounded(_one_charge(machine, charge))
    begin = start.replace(minute=0, second=0, microsecond=0)
    begin = begin.replace(hour=begin.hour - begin.hour % 2)
    like = machine.model_copy(update={"id": "", "name": "", "crew_needed": 0, "clean_h": 0.0})
    site = works.settings.site_of(machine.site)
    key = (like.model_dump_json(), site.model_dump_json(), str(works.folder), near, begin)
    if key not in _KEPT:
        if len(_KEPT) >= _MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = _pace(works, machine, near, begin)
    return replace(_KEPT[key], machine=machine)


def _one_charge(machine: Equipment, charge: Charge) -> Charge:
    """What goes on at once: a load above a batch machine's capacity goes in equal parts."""
    if machine.stage not in BATCH or machine.capacity_kg is None:
        return charge
    parts = math.ceil(charge.mass_kg / machine.capacity_kg - 1e-9)
    return replace(charge, mass_kg=charge.mass_kg / max(1, parts))


def _rounded(charge: Charge) -> Charge:
    step = 1.05
    mass = step ** math.floor(math.log(charge.mass_kg) / math.log(step) + 1e-9)
    return Charge(
        charge.leaf_id,
        mass,
        min(0.99, round(charge.moisture_wb, 2)),
        round(charge.moisture_sd, 2),
        2.0 * round(charge.hours_since_cut / 2.0),
    )


def _pace(works: Works, machine: Equipment, charge: Charge, start: datetime) -> Pace:
    settings = full_settings(machine, {})
    seen = predict_charge(works, machine, charge, settings, start)
    doubt = ""
    if machine.stage == "dry":
        profile = leaves.profile(charge.leaf_id)
        if seen.moisture_wb_out > profile.moisture_wb_store_limit:
            settings, reason, reached = aim_charge(works, machine, charge, settings, start)
            seen = predict_charge(works, machine, charge, settings, start)
            doubt = "" if reached else f"{machine.name} leaves the leaf too wet to store: {reason}"
    if machine.stage == "wither" and math.isnan(seen.duration_sd_h):
        doubt = f"{machine.name} would not reach its moisture in the coming air."
        seen = replace(seen, duration_h=max(seen.duration_h, NEVER_H))
    pace = pace_from(machine, charge, settings, seen, doubt)
    if machine.stage == "blanch":
        return _without_fill(works, pace, charge, start)
    return pace


def _without_fill(works: Works, pace: Pace, charge: Charge, start: datetime) -> Pace:
    """A bath whose first fill is heated once: what twice the leaf does not need again."""
    twice = replace(charge, mass_kg=2.0 * charge.mass_kg)
    seen = predict_charge(works, pace.machine, twice, pace.settings, start)
    more = max(0.0, seen.fuel_kg / charge.mass_kg - pace.fuel_kg)
    fill_kg = max(0.0, (pace.fuel_kg - more) * charge.mass_kg)
    return replace(
        pace,
        fuel_kg=more,
        fuel_kg_h=more * (pace.rate_kg_h or charge.mass_kg),
        warm_up_fuel_kg=fill_kg,
    )


def pace_from(
    machine: Equipment,
    charge: Charge,
    settings: Mapping[str, float],
    seen: Prediction,
    doubt: str = "",
) -> Pace:
    """A prediction of one charge, taken apart into what each kilogram needs."""
    inside, capacity, rate = seen.duration_h, machine.capacity_kg, None
    if machine.stage not in BATCH:
        stay = settings.get("residence_h", settings.get("immersion_s", 0.0) / 3600.0)
        feeding = seen.duration_h - stay
        if feeding > 0.0:
            inside, capacity, rate = stay, None, charge.mass_kg / feeding
    elif machine.stage == "roll" and capacity is not None:
        inside = seen.duration_h / math.ceil(charge.mass_kg / capacity - 1e-9)
    kg = charge.mass_kg
    fuel_kg_h = seen.fuel_kg / kg * rate if rate else seen.fuel_kg / max(inside, 0.25)
    return Pace(
        machine=machine,
        inside_h=inside,
        capacity_kg=capacity,
        rate_kg_h=rate,
        out_per_kg=seen.mass_out_kg / kg,
        moisture_wb_out=seen.moisture_wb_out,
        moisture_sd_out=seen.moisture_wb_out_sd,
        fuel_kg=seen.fuel_kg / kg,
        heat_kwh=seen.heat_kwh / kg,
        electricity_kwh=seen.electricity_kwh / kg,
        fuel_kg_h=fuel_kg_h,
        warm_up_fuel_kg=machine.warm_up_h * fuel_kg_h,
        settings=dict(settings),
        doubt=doubt,
    )
