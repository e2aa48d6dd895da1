"""A waiting load in time: its warmth, its water, and how much of its patience is used."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wareleaf import leaf
from wareleaf.air import CP_VAPOUR_J_KG_K, CP_WATER_J_KG_K, LATENT_HEAT_0C_J_KG
from wareleaf.measure import require
from wareleaf.stages.common import (
    SECONDS_PER_HOUR,
    Array,
    cite,
    relative_closure,
)
from wareleaf.stages.hold_spec import FIGURES, HoldResult, HoldRun, Place, figure

# Rows of the state, per kg of leaf as it came: enthalpy J, water kg, dry matter kg, heat of
# respiration J, heat to the surroundings J, enthalpy gone with vapour, drip and dissolved dry
# matter J, vapour kg, drip kg, and the shares of holding and of spoiling time that are used.
_H, _W, _D, _RESP, _LOSS, _GONE, _VAPOUR, _DRIP, _HOLD, _SPOIL = range(10)


def respiration_w_kg(run: HoldRun, temperature_c: float) -> float:
    """Heat made per kg of leaf: Q10 law, fading where tissue dies."""
    warm = min(max(temperature_c, -20.0), 100.0)
    rise = figure("all.respiration_q10") ** ((warm - 20.0) / 10.0)
    alive = 1.0 / (1.0 + math.exp((warm - figure("all.respiration_death_c")) / 2.0))
    return run.respiration_w_kg_20c * run.respiration_factor * rise * alive


def _least_j_k(place: Place, run: HoldRun) -> float:
    """Heat capacity per kg at the least water the load can come to."""
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    gone = (place.evaporation_fraction_h + place.drip_fraction_h) * run.hours
    water = max(0.02, run.moisture_wb - gone)
    return 0.8 * (1.0 - run.moisture_wb) * solid + water * CP_WATER_J_KG_K


def _loss_w_k(place: Place, run: HoldRun) -> float:
    """Exchange with the surroundings; leaf that follows within six minutes need not be faster."""
    most = _least_j_k(place, run) / (0.1 * SECONDS_PER_HOUR)
    return min(place.loss_w_kg_k * run.loss_factor, most)


def _slope(place: Place, run: HoldRun) -> Callable[[float, Array], Array]:
    profile = leaf.profile(run.leaf_id)
    solid = profile.specific_heat_dry_j_kg_k
    clock = np.arange(len(run.surroundings_c), dtype=float)
    loss_w_k = _loss_w_k(place, run)
    plateau = figure("all.seawater_tank_dry_loss") if place.in_seawater else 0.0
    first_dry = 1.0 - run.moisture_wb
    floor_dry = first_dry * (1.0 - plateau)

    def slope(hours: float, y: Array) -> Array:
        t = float(y[_H] / (y[_D] * solid + y[_W] * CP_WATER_J_KG_K))
        around = float(np.interp(hours, clock, run.surroundings_c))
        made = respiration_w_kg(run, t) * SECONDS_PER_HOUR
        loss = loss_w_k * (t - around) * SECONDS_PER_HOUR
        wet = 1.0 if y[_W] > 0.02 else 0.0
        vapour, drip = place.evaporation_fraction_h * wet, place.drip_fraction_h * wet
        gone_dry = (y[_D] - floor_dry) / figure("all.seawater_tank_time_h") if plateau else 0.0
        gone = vapour * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)
        gone += (drip * CP_WATER_J_KG_K + gone_dry * solid) * t
        patience = run.patience_factor
        return np.array(
            [
                made - loss - gone,
                -vapour - drip,
                -gone_dry,
                made,
                loss,
                gone,
                vapour,
                drip,
                1.0 / (patience * profile.hold_hours(t)),
                1.0 / (patience * profile.spoil_hours(t)),
            ]
        )

    return slope


def course(place: Place, run: HoldRun) -> tuple[Array, Array]:
    """Hours and rows of the state (classical Runge-Kutta; it keeps the linear balances)."""
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    slope = _slope(place, run)
    y = np.zeros(10)
    y[_W], y[_D] = run.moisture_wb, 1.0 - run.moisture_wb
    y[_H] = (y[_D] * solid + y[_W] * CP_WATER_J_KG_K) * run.leaf_temperature_c
    y[_HOLD], y[_SPOIL] = run.hold_used, run.spoil_used
    own_h = _least_j_k(place, run) / max(1e-6, _loss_w_k(place, run)) / SECONDS_PER_HOUR
    step = min(0.25, own_h / 3.0, run.hours / 20.0)
    count = math.ceil(run.hours / step)
    h = run.hours / count
    rows = [y]
    for i in range(count):
        t = i * h
        a = slope(t, y)
        b = slope(t + 0.5 * h, y + 0.5 * h * a)
        c = slope(t + 0.5 * h, y + 0.5 * h * b)
        y = y + h / 6.0 * (a + 2.0 * b + 2.0 * c + slope(t + h, y + h * c))
        rows.append(y)
    return np.linspace(0.0, run.hours, count + 1), np.array(rows)


def crossing_h(time_h: Array, used: Array) -> float:
    """First time a rising share reaches one; 0 when it had, infinite when it does not."""
    if used[0] >= 1.0:
        return 0.0
    if used[-1] < 1.0:
        return math.inf
    return float(np.interp(1.0, used, time_h))


def value_left(hold_used: Array, spoil_used: Array) -> Array:
    """Value along the course: 1 until holding time is used, then linear in spoiling time."""
    if hold_used[0] >= 1.0:
        start = min(float(spoil_used[0]), float(spoil_used[0] / hold_used[0]))
    else:
        start = float(np.interp(1.0, hold_used, spoil_used))
    share = (spoil_used - start) / max(1e-9, 1.0 - start)
    return np.asarray(np.where(hold_used < 1.0, 1.0, np.clip(1.0 - share, 0.0, 1.0)), float)


def simulate(place: Place, run: HoldRun) -> HoldResult:
    """Let a load wait.

    Parameters
    ----------
    place : Place
        Where.
    run : HoldRun
        The load, the time and the surroundings.
    """
    time, rows = course(place, run)
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    temperature = rows[:, _H] / (rows[:, _D] * solid + rows[:, _W] * CP_WATER_J_KG_K)
    coldest = float(np.min(temperature))
    require(
        coldest > -3.0,
        "evaporation_fraction_h",
        place.evaporation_fraction_h,
        f"evaporation_fraction_h of {place.evaporation_fraction_h:g} would freeze the leaf: it "
        "takes more heat than the surroundings give.",
    )
    moisture = rows[:, _W] / (rows[:, _W] + rows[:, _D])
    value = value_left(rows[:, _HOLD], rows[:, _SPOIL])
    first, last = rows[0], rows[-1]
    moved = last[_RESP] - last[_LOSS] - last[_GONE]
    latest = crossing_h(time, rows[:, _HOLD])
    return HoldResult(
        duration_h=run.hours,
        mass_in_kg=run.mass_kg,
        mass_out_kg=run.mass_kg * float(last[_W] + last[_D]),
        dry_matter_kg=run.mass_kg * float(last[_D]),
        moisture_wb_out=float(moisture[-1]),
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=run.mass_kg * float(first[_W] - last[_W]),
        heat_kwh=0.0,
        electricity_kwh=0.0,
        fuel_kg=0.0,
        water_residual=relative_closure(
            float(first[_W] - last[_W]), float(last[_VAPOUR] + last[_DRIP]), float(first[_W])
        ),
        energy_residual=relative_closure(
            float(last[_H] - first[_H]), float(moved), float(abs(first[_H]) + last[_RESP])
        ),
        leaf_temperature_max_c=float(np.max(temperature)),
        leaf_temperature_out_c=float(temperature[-1]),
        dry_matter_lost_kg=run.mass_kg * float(first[_D] - last[_D]),
        drip_kg=run.mass_kg * float(last[_DRIP]),
        hold_used=float(last[_HOLD]),
        spoil_used=float(last[_SPOIL]),
        value_left=float(value[-1]),
        latest_start_h=latest,
        lost_h=crossing_h(time, rows[:, _SPOIL]),
        course_time_h=tuple(time.tolist()),
        course_leaf_c=tuple(temperature.tolist()),
        course_hold_used=tuple(rows[:, _HOLD].tolist()),
        course_value_left=tuple(value.tolist()),
        course_moisture_wb=tuple(moisture.tolist()),
        warnings=_warnings(place, run, temperature, last),
        sources=cite([*FIGURES.values()]) + _profile_sources(run.leaf_id),
    )


def _profile_sources(leaf_id: str) -> tuple[str, ...]:
    keys = {f.source for f in leaf.profile(leaf_id).figures if "hold" in f.quantity}
    return (f"Holding times of the leaf profile {leaf_id} ({', '.join(sorted(keys))}).",)


def _warnings(place: Place, run: HoldRun, temperature: Array, last: Array) -> tuple[str, ...]:
    said = []
    if last[_SPOIL] >= 1.0:
        said.append("The load is lost by the end of this wait: do not process it as food.")
    elif last[_HOLD] >= 1.0:
        said.append("The load has waited longer than it holds its value.")
    rise = float(np.max(temperature)) - run.leaf_temperature_c
    if rise > figure("all.tight_pack_rise_k"):
        said.append(f"The load heats itself by {rise:.0f} K: open it up, air or chill it.")
    if place.in_seawater:
        said.append(
            "In a seawater tank a fifth of the dry weight was gone in 2 h (abstract; part of it "
            "is water taken up): weigh dry matter again before drying."
        )
    said.append(
        "Holding times are for planning. The food-safety plan of the works and local rules "
        "decide whether waited leaf may be used."
    )
    return tuple(said)
