"""Predict a charge on the roller and a batch on the oxidation floor."""

from __future__ import annotations

import math
from dataclasses import replace

from wareleaf.measure.errors import BadInput
from wareleaf.stages import oxidise, roll
from wareleaf.stages.common import StageResult
from wareleaf.works.machines import floor_of, of_the_run, roller_of
from wareleaf.works.predict.base import Ask, Prediction, corrected, readings_as

CUT = "orthodox_coarse"  # what an orthodox roller mostly makes; ``settings.cut`` says otherwise

READS = {
    "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg",
    "temperature_c": "leaf_temperature_c",
}


def as_prediction(
    ask: Ask, result: StageResult, hours: float, advice: str, **detail: float
) -> Prediction:
    """The common fields of a stage result as a prediction."""
    return Prediction(
        duration_h=hours,
        duration_sd_h=0.05 * hours,
        mass_out_kg=result.mass_out_kg,
        moisture_wb_out=result.moisture_wb_out,
        moisture_wb_out_sd=result.moisture_wb_out_sd,
        moisture_wb_now=result.moisture_wb_out,
        moisture_wb_now_sd=result.moisture_wb_out_sd,
        heat_kwh=result.heat_kwh,
        electricity_kwh=result.electricity_kwh,
        fuel_kg=result.fuel_kg,
        leaf_temperature_max_c=result.leaf_temperature_max_c,
        advice=advice,
        detail=detail,
        warnings=result.warnings,
        sources=result.sources,
    )


def predict_roll(ask: Ask) -> Prediction:
    """Predict leaf temperature and broken cells of a roll."""
    charge = ask.charge
    run = roll.RollRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
        minutes=ask.settings["minutes"],
        **of_the_run(ask.machine),
    )
    roller = roller_of(ask.machine)
    result = roll.simulate(roller, run)
    advice = (
        f"{result.charges} charge{'s' if result.charges > 1 else ''}; leaf warms to about "
        f"{result.leaf_temperature_max_c:.0f} °C."
    )
    told = as_prediction(ask, result, result.duration_h, advice, disruption=result.disruption)
    usable, kept = readings_as(ask, READS)
    if not usable:
        return replace(told, advice=f"{advice} {kept}".strip())
    return corrected(told, roll.project(roller, run, usable, result.disruption), kept)


def _oxidise_run(ask: Ask) -> oxidise.OxidiseRun:
    charge = ask.charge
    return oxidise.OxidiseRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
        minutes=ask.settings["minutes"],
        **{"cut": CUT, **of_the_run(ask.machine)},
    )


def predict_oxidise(ask: Ask) -> Prediction:
    """Predict the minute of the best theaflavin and what the set minutes give."""
    floor = floor_of(ask.machine, ask.settings)
    run = _oxidise_run(ask)
    result = oxidise.simulate(floor, run)
    best = oxidise.simulate(floor, replace(run, minutes=max(240.0, run.minutes)))
    detail = {"theaflavin_fraction": result.theaflavin_fraction, "peak_min": best.peak_min}
    if math.isfinite(best.peak_min):
        first, last = best.window_min
        advice = (
            f"Best about {best.peak_min:.0f} min (± {best.peak_sd_min:.0f}); "
            f"good from {first:.0f} to {last:.0f} min. The nose decides."
        )
        detail |= {"window_from_min": first, "window_to_min": last}
    else:
        advice = "Theaflavin still rises at the end of what was computed; the nose decides."
    told = as_prediction(ask, result, ask.settings["minutes"] / 60.0, advice, **detail)
    usable, kept = readings_as(ask, READS)
    if not usable:
        return replace(told, advice=f"{advice} {kept}".strip())
    return corrected(told, oxidise.project(floor, run, usable), kept)


def aim_oxidise(ask: Ask) -> tuple[dict[str, float], str, bool]:
    """Minutes of the best theaflavin."""
    found = oxidise.aim(floor_of(ask.machine, ask.settings), _oxidise_run(ask))
    minutes = found.settings.get("minutes")
    if minutes is None:
        raise BadInput("minutes", None, f"No best minutes were found: {found.reason}")
    return {**ask.settings, "minutes": minutes}, found.reason, found.reachable
