"""Predict a load on a withering trough under the coming air."""

from __future__ import annotations

import math
from dataclasses import replace

from wareleaf.stages import wither
from wareleaf.works.machines import of_the_run, trough_of
from wareleaf.works.predict.base import Ask, Prediction, air_at, readings_as

LOOK_AHEAD_H = 30
_LEAST_H = 0.1  # leaf that is there already
READS = {
    "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg",
    "temperature_c": "leaf_temperature_c",
}


def wither_run_of(ask: Ask) -> wither.WitherRun:
    """The run of a load under the air of the next hours."""
    charge = ask.charge
    dry_bulb, humidity, pressure = air_at(ask, LOOK_AHEAD_H + 1)
    # The constant of the works' own trial, and over it what the runs since then taught.
    own_trial = float(of_the_run(ask.machine).get("rate_factor", 1.0))
    return wither.WitherRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=max(charge.moisture_sd, 0.002),
        air_time_h=tuple(float(h) for h in range(len(dry_bulb))),
        dry_bulb_c=tuple(dry_bulb),
        relative_humidity=tuple(min(1.0, h) for h in humidity),
        pressure_pa=tuple(pressure),
        duration_h=float(LOOK_AHEAD_H),
        heating_k=(ask.settings.get("heating_k", 0.0),),
        hours_since_plucking=charge.hours_since_cut,
        rate_factor=own_trial * (1.0 if ask.rate is None else ask.rate.multiplier),
        rate_relative_sd=None if ask.rate is None else ask.rate.relative_sd,
    )


def predict(ask: Ask) -> Prediction:
    """Project the hour at which the load reaches its moisture, from the readings so far."""
    run = wither_run_of(ask)
    trough = trough_of(ask.machine)
    target = ask.settings["target_moisture_wb"]
    usable, kept = readings_as(ask, READS)
    seen = wither.project(trough, run, usable, target)
    reached = math.isfinite(seen.finish_h)
    hours = min(max(seen.finish_h, _LEAST_H), LOOK_AHEAD_H) if reached else float(LOOK_AHEAD_H)
    # The leaf comes off then: what is said of the layers, the turning, the hours since plucking and
    # the heat is of these hours, not of all that was looked ahead.
    result = wither.simulate(trough, replace(run, duration_h=hours))
    dry_kg = ask.charge.mass_kg * (1.0 - ask.charge.moisture_wb)
    out_wb = target if reached else result.moisture_wb_out
    return Prediction(
        duration_h=hours,
        duration_sd_h=seen.finish_sd_h if reached else float("nan"),
        mass_out_kg=dry_kg / (1.0 - out_wb),
        moisture_wb_out=out_wb,
        moisture_wb_out_sd=result.moisture_wb_out_sd,
        moisture_wb_now=seen.moisture_wb_now,
        moisture_wb_now_sd=seen.moisture_wb_now_sd,
        heat_kwh=result.heat_kwh,
        electricity_kwh=result.electricity_kwh,
        leaf_temperature_max_c=result.leaf_temperature_max_c,
        curve_time_h=seen.curve_time_h,
        curve_moisture_wb=seen.curve_moisture_wb,
        curve_low=seen.curve_low,
        curve_high=seen.curve_high,
        advice=f"{seen.note} {kept}".strip(),
        detail={
            "loading_kg_m2": result.loading_kg_m2,
            "pressure_drop_pa": result.pressure_drop_pa,
            "hours_since_plucking": result.hours_since_plucking,
        },
        warnings=result.warnings,
        sources=(*result.sources, *([ask.rate.source] if ask.rate else ())),
    )


def aim(ask: Ask) -> tuple[dict[str, float], str, bool]:
    """Least heating that brings the load to its moisture within 16 hours."""
    target = ask.settings["target_moisture_wb"]
    found = wither.aim(trough_of(ask.machine), wither_run_of(ask), target, latest_h=16.0)
    heating = ask.settings.get("heating_k", 0.0) + found.settings.get("heating_k", 0.0)
    return {**ask.settings, "heating_k": heating}, found.reason, found.reachable
