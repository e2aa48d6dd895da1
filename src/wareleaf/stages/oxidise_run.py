"""Leaf on the oxidation floor: catechins go, theaflavin comes and goes, the bed warms itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.stages.common import Array, StageResult, cite, relative_closure
from wareleaf.stages.oxidise_course import AIR, VAPOUR, C, H, Q, W, course, seen_of
from wareleaf.stages.oxidise_rate import FIGURES, figure
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun


@dataclass(frozen=True)
class OxidiseResult(StageResult):
    """The common fields of a stage, theaflavin, and the course on the floor.

    ``theaflavin_fraction`` is of infusion solids. ``peak_min`` is the best time within the time
    computed (infinite when theaflavin still rises at its end); ``window_min`` the times between
    which it is at least 97 % of the peak (its end infinite when not reached).
    """

    theaflavin_fraction: float
    theaflavin_fraction_sd: float
    oxidised_share: float
    peak_min: float
    peak_sd_min: float
    peak_theaflavin_fraction: float
    window_min: tuple[float, float]
    course_min: tuple[float, ...]
    course_leaf_c: tuple[float, ...]
    course_theaflavin: tuple[float, ...]
    course_oxidised: tuple[float, ...]
    course_moisture_wb: tuple[float, ...]


def _peak(minutes: Array, tf: Array) -> tuple[float, float, tuple[float, float]]:
    """Best time and value by a parabola through the top, and the window around it."""
    top = int(np.argmax(tf))
    if top == 0 or top == tf.size - 1:
        return math.inf, float(tf[top]), (math.inf, math.inf)
    low, mid, high = tf[top - 1], tf[top], tf[top + 1]
    shift = 0.5 * (low - high) / (low - 2.0 * mid + high)
    best = float(minutes[top] + shift * (minutes[1] - minutes[0]))
    good = minutes[tf >= figure("all.window_fraction") * mid]
    end = float(good[-1]) if good[-1] < minutes[-1] else math.inf
    return best, float(mid), (float(good[0]), end)


def simulate(floor: Floor, run: OxidiseRun) -> OxidiseResult:
    """Oxidise a load; the course runs over ``run.minutes``.

    Parameters
    ----------
    floor : Floor
        The floor and its air.
    run : OxidiseRun
        The leaf.
    """
    minutes, rows = course(floor, run)
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    temperature = rows[:, H] / (solid + rows[:, W] * CP_WATER_J_KG_K)
    tf = seen_of(run, rows)["theaflavin_fraction"]
    best, value, window = _peak(minutes, tf)
    dry = run.mass_kg * (1.0 - run.moisture_wb)
    first, last = rows[0], rows[-1]
    moisture = rows[:, W] / (1.0 + rows[:, W])
    return OxidiseResult(
        duration_h=run.minutes / 60.0,
        mass_in_kg=run.mass_kg,
        mass_out_kg=dry * float(1.0 + last[W]),
        dry_matter_kg=dry,
        moisture_wb_out=float(moisture[-1]),
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=run.mass_kg * run.moisture_wb - dry * float(last[W]),
        heat_kwh=0.0,
        electricity_kwh=floor.fan_kw * run.minutes / 60.0,
        fuel_kg=0.0,
        water_residual=relative_closure(
            float(first[W] - last[W]), float(last[VAPOUR]), float(first[W])
        ),
        energy_residual=relative_closure(
            float(last[H] - first[H]), float(last[Q] - last[AIR]), float(first[H])
        ),
        leaf_temperature_max_c=float(np.max(temperature)),
        theaflavin_fraction=float(tf[-1]),
        theaflavin_fraction_sd=float(tf[-1]) * figure("all.theaflavin_log_sd"),
        oxidised_share=1.0 - float(last[C]),
        peak_min=best,
        peak_sd_min=best * run.rate_log_sd if math.isfinite(best) else math.inf,
        peak_theaflavin_fraction=value,
        window_min=window,
        course_min=tuple(minutes.tolist()),
        course_leaf_c=tuple(temperature.tolist()),
        course_theaflavin=tuple(tf.tolist()),
        course_oxidised=tuple((1.0 - rows[:, C]).tolist()),
        course_moisture_wb=tuple(moisture.tolist()),
        warnings=_warnings(run, temperature, best, window),
        sources=(
            *cite(f for k, f in FIGURES.items() if k.split(".")[0] in (run.cut, "all")),
            "Opie et al. (1993), J. Sci. Food Agric. 63:435-438 (abstract read): theaflavin is "
            "lost by coupled oxidation with catechin quinone.",
        ),
    )


def _warnings(
    run: OxidiseRun, temperature: Array, best: float, window: tuple[float, float]
) -> tuple[str, ...]:
    said = []
    low, high = figure("all.temperature_low_c"), figure("all.temperature_high_c")
    if float(np.max(temperature)) > high:
        said.append(
            f"Leaf warms to {float(np.max(temperature)):.1f} degC; the published optimum is "
            f"{low:.0f}-{high:.0f}. Spread it thinner or give more air."
        )
    if float(np.min(temperature)) < low - 2.0:
        said.append(f"Leaf is below {low:.0f} degC; oxidation is slow and the time less certain.")
    if math.isfinite(best) and run.minutes > window[1]:
        said.append(f"Past the best window, which ends at {window[1]:.0f} min.")
    said.append(
        "Peak times are published; the shape, the temperature effects and the heat are own "
        "assumptions. A cultivar's best time cannot be carried to another: taste and measure."
    )
    return tuple(said)
