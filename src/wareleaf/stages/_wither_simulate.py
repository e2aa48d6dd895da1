"""Simulate one load: the result, its spread and what the operator should hear."""

from __future__ import annotations

from functools import cache

import numpy as np

from wareleaf import air, leaf
from wareleaf.measure import Evidence, Figure, moisture_wb_from_db
from wareleaf.stages._wither_march import Cases, History, carry
from wareleaf.stages._wither_spec import (
    Trough,
    WitherResult,
    WitherRun,
    figures,
    number,
    rate_log_sd,
)
from wareleaf.stages.common import (
    JOULES_PER_KWH,
    Array,
    cite,
    relative_closure,
)


def simulate(trough: Trough, run: WitherRun) -> WitherResult:
    """Carry a load through its hours and say what comes of it.

    Parameters
    ----------
    trough : Trough
        The trough and its fan.
    run : WitherRun
        The load and its air.

    Returns
    -------
    WitherResult
        Its ``moisture_wb_out_sd`` joins the lot-to-lot spread of the rate constant, the uncertainty
        of the arriving moisture and the published standard error of such a model.

    Raises
    ------
    BadInput
        When the fan cannot lift air through the load, or the leaf profile is unknown.
    """
    history = carry(trough, run, spread_cases(run))
    return result_of(trough, run, history, _spread_wb(history))


def spread_cases(run: WitherRun) -> Cases:
    """The run, and the run one standard deviation to each side in rate and in moisture."""
    sd = rate_log_sd(run)
    least = run.surface_water_share + 1e-3
    low = max(least, run.moisture_wb - run.moisture_wb_sd)
    high = min(0.97, run.moisture_wb + run.moisture_wb_sd)
    m = run.moisture_wb
    return Cases(
        rate_factor=np.exp(np.array([0.0, -sd, sd, 0.0, 0.0])),
        moisture_wb=np.array([m, m, m, low, high]),
        more_heating_k=np.zeros(5),
    )


def _spread_wb(history: History) -> float:
    end = history.mean_wb[-1]
    by_rate, by_start = 0.5 * (end[1] - end[2]), 0.5 * (end[4] - end[3])
    model = number("model.standard_error_wb") if history.fan_on_s > 0.0 else 0.0
    return float(np.sqrt(by_rate**2 + by_start**2 + model**2))


def result_of(
    trough: Trough, run: WitherRun, history: History, sd_wb: float, case: int = 0
) -> WitherResult:
    """Result of one case of a history."""
    layers_db = history.total_db[:, :, case]
    mean_db = history.mean_db[:, case]
    dry_kg = float(history.dry_kg_m2[case]) * trough.area_m2
    mass_out = dry_kg * (1.0 + float(mean_db[-1]))
    layers_wb = moisture_wb_from_db(layers_db)
    wettest = int(np.argmax(layers_db[-1]))
    leaf_c = history.leaf_c[:, :, case]
    electric_w = history.point.electric_w(trough)
    water_residual, energy_residual = _closure(history, case)
    mean_wb = history.mean_wb[:, case]
    return WitherResult(
        duration_h=run.duration_h,
        mass_in_kg=run.mass_kg,
        mass_out_kg=mass_out,
        dry_matter_kg=dry_kg,
        moisture_wb_out=float(mean_wb[-1]),
        moisture_wb_out_sd=sd_wb,
        water_removed_kg=float(history.leaf_water_kg_m2[case]) * trough.area_m2,
        heat_kwh=float(history.heater_j_m2[case]) * trough.area_m2 / JOULES_PER_KWH,
        electricity_kwh=electric_w * history.fan_on_s / JOULES_PER_KWH,
        fuel_kg=0.0,
        water_residual=water_residual,
        energy_residual=energy_residual,
        leaf_temperature_max_c=float(leaf_c.max()),
        leaf_temperature_min_c=float(leaf_c.min()),
        percent_wither=mass_out / run.mass_kg,
        moisture_layers_wb=_row(layers_wb[-1]),
        wettest_layer=wettest + 1,
        moisture_wettest_wb=float(layers_wb[-1, wettest]),
        hours_since_plucking=run.hours_since_plucking + run.duration_h,
        air_velocity_m_s=history.point.air_velocity_m_s,
        pressure_drop_pa=history.point.bed_pressure_pa,
        loading_kg_m2=history.point.loading_kg_m2,
        time_h=_row(history.time_h),
        moisture_mean_wb=_row(mean_wb),
        moisture_bottom_wb=_row(layers_wb[:, 0]),
        moisture_top_wb=_row(layers_wb[:, -1]),
        moisture_high_wb=_row(layers_wb.max(axis=1)),
        leaf_bottom_c=_row(leaf_c[:, 0]),
        leaf_top_c=_row(leaf_c[:, -1]),
        air_in_c=_row(history.in_c[:, case]),
        air_in_rh=_humidity(history.in_c[:, case], history.in_w[:, case], history.pressure_pa),
        air_out_c=_row(history.out_c[:, case]),
        air_out_rh=_humidity(history.out_c[:, case], history.out_w[:, case], history.pressure_pa),
        air_upward=tuple(bool(u) for u in history.upward),
        wither_share=_row(dry_kg * (1.0 + mean_db) / run.mass_kg),
        warnings=_warnings(run, history, case),
        sources=_sources(run.leaf_id),
    )


_OF_LEAF = ("wither.", "desorption.", "adsorption.", "specific_surface", "specific_heat")


def _leaf_figures(leaf_id: str) -> list[Figure]:
    return [f for f in leaf.profile(leaf_id).figures if f.quantity.startswith(_OF_LEAF)]


@cache
def _sources(leaf_id: str) -> tuple[str, ...]:
    """Citations of what the model and this leaf rest on, each with its evidence."""
    of_leaf = (f"{leaf.source_of(f).cite()} [{f.evidence}]" for f in _leaf_figures(leaf_id))
    return tuple(dict.fromkeys([*cite(figures().values()), *of_leaf]))


def _row(values: Array) -> tuple[float, ...]:
    return tuple(values.tolist())


def _humidity(celsius: Array, ratio: Array, pressure: Array) -> tuple[float, ...]:
    """Relative humidity, held at 1 where a mist is carried along."""
    saturated = air.humidity_ratio(celsius, 1.0, pressure)
    vapour, full = (air.vapour_pressure_pa(w, pressure) for w in (ratio, saturated))
    return _row(np.minimum(1.0, vapour / full))


def _closure(history: History, case: int) -> tuple[float, float]:
    """Closure of water over the water held, of energy over the heat exchanged or held."""
    water_held = float(history.dry_kg_m2[case] * history.mean_db[-1, case])
    water = relative_closure(
        float(history.air_water_kg_m2[case]), float(history.leaf_water_kg_m2[case]), water_held
    )
    heat = relative_closure(
        float(history.air_heat_j_m2[case]),
        float(history.leaf_heat_j_m2[case]),
        float(np.maximum(history.air_exchanged_j_m2, history.held_heat_j_m2)[case]),
    )
    return water, heat


def _warnings(run: WitherRun, history: History, case: int) -> tuple[str, ...]:
    told = [
        *_about_load(run, history),
        *_about_air(run, history, case),
        *_about_leaf(run, history, case),
    ]
    told.append(
        "Bed resistance, transfer coefficient and fan efficiency rest on common practice or "
        "memory; check the projection against your own weighings."
    )
    weak = (Evidence.MEMORY, Evidence.PRACTICE, Evidence.DEMO)
    rate = [f for f in _leaf_figures(run.leaf_id) if f.quantity == "wither.rate_per_h"]
    if any(f.evidence in weak for f in rate):
        told.append(
            "The rate constant of this leaf is not a published number; fit it from your weighings."
        )
    return tuple(told)


def _about_load(run: WitherRun, history: History) -> list[str]:
    low, high = number("trough.loading_low_kg_m2"), number("trough.loading_high_kg_m2")
    load = history.point.loading_kg_m2
    if low <= load <= high:
        return []
    word = "heavier" if load > high else "lighter"
    return [f"The load of {load:.1f} kg/m2 is {word} than the usual {low:.0f} to {high:.0f} kg/m2."]


def _about_air(run: WitherRun, history: History, case: int) -> list[str]:
    told = []
    sky = history.sky
    least = number("rule.hygrometric_difference_k")
    dry_c = history.in_c[:, case]
    # air as dry as its dry bulb and a wet bulb just so far below it would show
    most = air.humidity_ratio_from_wet_bulb(dry_c, dry_c - least + 0.05, history.pressure_pa)
    damp = float(np.mean(history.in_w[:, case] > most)) * run.duration_h
    if damp >= 0.5 and history.fan_on_s > 0.0:
        told.append(
            f"The air's hygrometric difference is below {least:g} degC for {damp:.1f} h; "
            "mix in hot air."
        )
    if sky.capped:
        told.append(
            f"The heater was held back: mixed air must not pass {run.air_max_c:g} degC dry bulb."
        )
    if sky.time_h.size > 1 and run.duration_h > sky.time_h[-1] + 1.0:
        told.append(
            f"The weather series ends at {sky.time_h[-1]:g} h; its last air is held to the end."
        )
    return told


def _about_leaf(run: WitherRun, history: History, case: int) -> list[str]:
    told = []
    layers_wb = moisture_wb_from_db(history.total_db[:, :, case])
    spread = layers_wb.max(axis=1) - layers_wb.min(axis=1)
    limit = number("rule.layer_spread_wb")
    if spread[-1] > limit and not run.reversal_h:
        first = float(history.time_h[int(np.argmax(spread > limit))])
        told.append(
            f"The layers end {100.0 * spread[-1]:.0f} points of moisture apart; turn the air "
            f"round at about {first:.1f} h."
        )
    loss = _fastest_loss_per_h(history, case)
    if loss > number("rule.loss_per_hour_max"):
        told.append(
            f"The leaf loses up to {100.0 * loss:.1f} % of its mass in an hour; "
            f"{100.0 * number('rule.loss_per_hour_max'):.0f} % is the usual most."
        )
    hours = run.hours_since_plucking + run.duration_h
    if hours > number("rule.chemical_hours_high"):
        told.append(
            f"At the end the leaf is {hours:.0f} h from plucking; the chemical wither is usually "
            f"{number('rule.chemical_hours_low'):.0f} to "
            f"{number('rule.chemical_hours_high'):.0f} h."
        )
    if float(history.total_db[:, :, case].min()) < number("model.heat_of_wetting_from_db"):
        told.append(
            "Some leaf goes below 29 % moisture, where the heat of sorption, left out here, counts."
        )
    warmest, most = float(history.leaf_c[:, :, case].max()), number("rule.mixed_dry_bulb_max_c")
    if warmest > most:
        told.append(f"The leaf reaches {warmest:.1f} degC; withering stays below {most:g} degC.")
    return told


def _fastest_loss_per_h(history: History, case: int) -> float:
    """Largest loss over any hour, share of the mass at the start of that hour."""
    time = np.concatenate([[0.0], history.time_h])
    gone = float(history.leaf_water_kg_m2[case] / history.dry_kg_m2[case])
    first = history.mean_db[-1, case] + gone
    mass = 1.0 + np.concatenate([[first], history.mean_db[:, case]])
    starts = time[time <= max(0.0, time[-1] - 1.0)]
    before, after = np.interp(starts, time, mass), np.interp(starts + 1.0, time, mass)
    return float(np.max(1.0 - after / before)) if time[-1] >= 1.0 else 0.0
