"""Predict a charge on the roller and a batch on the oxidation floor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wareleaf.measure.errors import BadInput
from wareleaf.stages import oxidise, roll
from wareleaf.stages.common import StageReading, StageResult
from wareleaf.works.machines import colour_of, floor_of, of_the_run, roller_of
from wareleaf.works.predict.base import Ask, Prediction, corrected, readings_as
from wareleaf.works.settings import Equipment

CUT = "orthodox_coarse"  # what an orthodox roller mostly makes; ``settings.cut`` says otherwise

READS = {
    "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg",
    "temperature_c": "leaf_temperature_c",
}
FLOOR_READS = {
    **READS,
    "theaflavin_fraction": "theaflavin_fraction",
    "oxidised_share": "oxidised_share",
}
_COURSE_STEPS = 16
NO_LINK = "Give colour_start and colour_end of the floor: fit-trial finds them from your own trial."


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


def with_shares(machine: Equipment, readings: Sequence[StageReading]) -> list[StageReading]:
    """Readings with colours as the share oxidised, where the works' own trial links the two."""
    link = colour_of(machine)
    if link is None:
        return list(readings)
    start, end = link
    return [
        replace(
            r,
            quantity="oxidised_share",
            value=(r.value - start) / (end - start),
            standard_uncertainty=r.standard_uncertainty / abs(end - start),
        )
        if r.quantity == "colour_index"
        else r
        for r in readings
    ]


def oxidise_run_of(ask: Ask) -> oxidise.OxidiseRun:
    """The run of a batch on the floor, at the works' own rate where it was learned."""
    charge = ask.charge
    given = {"cut": CUT, **of_the_run(ask.machine)}
    if ask.rate is not None:
        given["rate_factor"] = given.get("rate_factor", 1.0) * ask.rate.multiplier
        given["rate_log_sd"] = math.hypot(ask.rate.lot_log_sd, ask.rate.log_sd)
    return oxidise.OxidiseRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
        minutes=ask.settings["minutes"],
        **given,
    )


def predict_oxidise(ask: Ask) -> Prediction:
    """Predict the minute of the best theaflavin and what the set minutes give."""
    floor = floor_of(ask.machine, ask.settings)
    run = oxidise_run_of(ask)
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
    told = replace(told, theaflavin_course=_course(best, run.rate_log_sd))
    if ask.rate is not None:
        told = replace(told, sources=(*told.sources, ask.rate.source))
    usable, kept = readings_as(
        replace(ask, readings=with_shares(ask.machine, ask.readings)), FLOOR_READS
    )
    if any(r.quantity == "colour_index" for r in ask.readings) and "Colour" in kept:
        kept = f"{kept} {NO_LINK}"
    if not usable:
        return replace(told, advice=f"{advice} {kept}".strip())
    return _as_read(told, oxidise.project(floor, run, usable), kept)


def _course(
    best: oxidise.OxidiseResult, rate_log_sd: float
) -> tuple[tuple[float, float, float], ...]:
    """Theaflavin as forecast, from the start to the end of what was computed."""
    minutes = np.linspace(0.0, best.course_min[-1], _COURSE_STEPS + 1)
    mean, sd = oxidise.theaflavin_course(
        best.course_min, best.course_theaflavin, rate_log_sd, minutes
    )
    rows = zip(minutes.tolist(), mean.round(7).tolist(), sd.round(7).tolist(), strict=True)
    return tuple(rows)


def _as_read(told: Prediction, seen: oxidise.OxidiseProjection, said: str) -> Prediction:
    """What readings on the floor taught of moisture, theaflavin and its best minutes."""
    first, last = (60.0 * h for h in seen.window_h)
    at_end = float(np.interp(told.duration_h, seen.curve_time_h, seen.curve_theaflavin))
    detail = {
        **told.detail,
        "theaflavin_fraction": at_end,
        "peak_min": 60.0 * seen.finish_h,
        "window_from_min": first,
        "window_to_min": last,
    }
    note = (
        f"By the readings best about {detail['peak_min']:.0f} min after the start "
        f"(± {60.0 * seen.finish_sd_h:.0f}); good from {first:.0f} to {last:.0f} min. "
        "The nose decides."
    )
    return corrected(replace(told, advice="", detail=detail), replace(seen, note=note), said)


def aim_oxidise(ask: Ask) -> tuple[dict[str, float], str, bool]:
    """Minutes of the best theaflavin."""
    found = oxidise.aim(floor_of(ask.machine, ask.settings), oxidise_run_of(ask))
    minutes = found.settings.get("minutes")
    if minutes is None:
        raise BadInput("minutes", None, f"No best minutes were found: {found.reason}")
    return {**ask.settings, "minutes": minutes}, found.reason, found.reachable
