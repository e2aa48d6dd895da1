"""Predict a lot going through a belt dryer or a fluid bed, and what its heat does."""

from __future__ import annotations

from dataclasses import replace

from wareleaf import leaf as leaves
from wareleaf.stages import dry, quality
from wareleaf.stages.common import StageReading
from wareleaf.works.machines import dryer_of
from wareleaf.works.predict.base import Ask, Prediction, air_at, readings_as

# A moisture or temperature read on a dryer is that of the leaf that comes off.
READS = {
    "moisture_wb": "moisture_wb_out",
    "mass_kg": "mass_kg",
    "temperature_c": "leaf_temperature_c",
}
_ALL_BUT = 0.95  # of the residence time; a belt's speed and a noted start are no surer


def dry_run_of(ask: Ask) -> dry.DryRun:
    """The run of a lot at the settings, in the air of its first hours."""
    charge, settings = ask.charge, ask.settings
    feed = settings["feed_kg_h"]
    hours = max(1, round(charge.mass_kg / feed))
    dry_bulb, humidity, pressure = air_at(ask, min(hours, 24))
    n = len(dry_bulb)
    return dry.DryRun(
        leaf_id=charge.leaf_id,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=max(charge.moisture_sd, 0.002),
        residence_h=settings["residence_h"],
        feed_kg_h=feed,
        mass_kg=charge.mass_kg,
        ambient_c=sum(dry_bulb) / n,
        ambient_rh=min(1.0, sum(humidity) / n),
        pressure_pa=sum(pressure) / n,
        rate_multiplier=1.0 if ask.rate is None else ask.rate.multiplier,
        rate_relative_sd=None if ask.rate is None else ask.rate.relative_sd,
    )


def predict(ask: Ask) -> Prediction:
    """Predict moisture, time, heat and leaf temperature; readings at the outlet correct it."""
    machine = ask.machine
    dryer = dryer_of(machine, ask.settings)
    run = dry_run_of(ask)
    profile = leaves.profile(run.leaf_id)
    result = dry.simulate(dryer, run)
    now, now_sd = result.moisture_wb_out, result.moisture_wb_out_sd
    dry_kg, advice = result.dry_matter_kg, ""
    usable, kept = usable_readings(ask, dryer, run)
    if usable:
        seen = dry.project(dryer, run, usable, profile.moisture_wb_target)
        now, now_sd, advice = seen.moisture_wb_now, seen.moisture_wb_now_sd, seen.note
        dry_kg = run.lot_kg() * (1.0 - seen.moisture_wb_in)
    if ask.advise and not advice:
        advice = _advice(dryer, run, profile, result)
    advice = f"{advice} {kept}".strip()
    return Prediction(
        duration_h=result.duration_h,
        duration_sd_h=0.05 * result.duration_h,
        mass_out_kg=dry_kg / (1.0 - now),
        moisture_wb_out=now,
        moisture_wb_out_sd=now_sd,
        moisture_wb_now=now,
        moisture_wb_now_sd=now_sd,
        heat_kwh=result.heat_kwh,
        electricity_kwh=result.electricity_kwh,
        fuel_kg=result.fuel_kg,
        leaf_temperature_max_c=result.leaf_temperature_max_c,
        curve_time_h=result.curve_time_h,
        curve_moisture_wb=result.curve_moisture_wb,
        advice=advice,
        detail={
            "exhaust_c": result.exhaust_c,
            "loading_kg_m2": result.loading_kg_m2,
            "heat_mj_per_kg_water": result.heat_mj_per_kg_water,
            "residence_h": run.residence_h,
        },
        warnings=result.warnings,
        sources=(*result.sources, *([ask.rate.source] if ask.rate else ())),
    )


def usable_readings(
    ask: Ask, dryer: dry.Dryer, run: dry.DryRun
) -> tuple[tuple[StageReading, ...], str]:
    """Readings that say something of this run, and sentences on the others.

    On a belt a moisture or a temperature is that of the leaf that comes off. Before any of it does,
    leaf on its way was read, or the load before: taken as the outlet it would turn a usual lot into
    a hopeless one.
    """
    readings, kept = readings_as(ask, READS)
    if isinstance(dryer, dry.TrayDryer):
        return readings, kept
    first_h = _ALL_BUT * run.residence_h
    early = [r for r in readings if r.time_h < first_h and r.quantity != "mass_kg"]
    if not early:
        return readings, kept
    hours = ", ".join(f"{r.time_h:.1f}" for r in early)
    said = (
        f"Read at {hours} h: kept, but it does not move this forecast, for no leaf of this run is "
        f"off before {run.residence_h:.1f} h."
    )
    return tuple(r for r in readings if r not in early), f"{kept} {said}".strip()


def _advice(
    dryer: dry.Dryer, run: dry.DryRun, profile: leaves.LeafProfile, result: dry.DryResult
) -> str:
    if result.moisture_wb_out > profile.moisture_wb_store_limit:
        found = dry.aim(dryer, run, profile.moisture_wb_target)
        return f"Too wet to store at these settings. {found.reason}"
    if result.moisture_wb_out < profile.moisture_wb_overdried:
        found = dry.aim(dryer, run, profile.moisture_wb_target)
        return f"Drier than it needs to be: weight and fuel are given away. {found.reason}"
    if result.moisture_wb_out > profile.moisture_wb_store_limit - 2.0 * result.moisture_wb_out_sd:
        return (
            "Expected dry enough, but a slow lot would still be too wet to store: "
            "measure what comes off before it goes to the store."
        )
    return "On target at these settings."


def aim(ask: Ask) -> tuple[dict[str, float], str, bool]:
    """Settings that land the lot on its target moisture, the reason, and whether they reach it."""
    dryer = dryer_of(ask.machine, ask.settings)
    run = dry_run_of(ask)
    profile = leaves.profile(run.leaf_id)
    found = dry.aim(dryer, replace(run), profile.moisture_wb_target)
    settings = dict(ask.settings)
    if "residence_h" in found.settings:
        settings["residence_h"] = found.settings["residence_h"]
    return settings, found.reason, found.reachable


def leaf_heat(ask: Ask) -> quality.Quality:
    """What the heat of the run does to the leaf, layer by layer, with the works' own constants.

    Readings on the run say how this lot dries: leaf that dries early stands longer at the air's
    temperature, and a slow lot stays cool.
    """
    dryer, run = dryer_of(ask.machine, ask.settings), dry_run_of(ask)
    usable, _ = usable_readings(ask, dryer, run)
    if usable:
        target = leaves.profile(run.leaf_id).moisture_wb_target
        run = _as_read(run, dry.project(dryer, run, usable, target))
    losses = [
        quality.Loss(**row.model_dump(exclude={"leaf"}))
        for row in ask.works.settings.loss
        if row.leaf == run.leaf_id
    ]
    return quality.assess(
        dry.simulate(dryer, run),
        run.leaf_id,
        losses,
        trace=quality.dryer_trace(dryer, run),
        leaf_c_sd=run.inlet_c_sd,
    )


def _as_read(run: dry.DryRun, seen: dry.DryProjection) -> dry.DryRun:
    """The run with the rate and the feed moisture that its readings taught."""
    return replace(
        run,
        rate_multiplier=seen.rate_multiplier,
        rate_relative_sd=seen.rate_multiplier_sd / seen.rate_multiplier,
        moisture_wb=seen.moisture_wb_in,
        moisture_wb_sd=seen.moisture_wb_in_sd,
    )
