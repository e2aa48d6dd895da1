"""The course of leaf on an oxidation floor: catechin, theaflavin, heat and water by the minute."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wareleaf import leaf
from wareleaf.air import CP_WATER_J_KG_K, enthalpy_j_kg, humidity_ratio
from wareleaf.measure import require
from wareleaf.stages.common import Array
from wareleaf.stages.oxidise_rate import (
    arrhenius,
    figure,
    peak_share,
    rate_per_min,
    theaflavin_shape,
)
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun

# Rows of the state: leaf enthalpy J, water kg, catechin left 0..1, theaflavin (unscaled), heat of
# oxidation J, enthalpy given to the air J, water given to the air kg. All per kg dry matter.
H, W, C, TF, Q, AIR, VAPOUR = range(7)


def _slope(
    floor: Floor, run: OxidiseRun, solid: float, times: tuple[Array | float, Array | float]
) -> Callable[[Array], Array]:
    air_w = float(humidity_ratio(floor.dry_bulb_c, floor.relative_humidity))
    air_h = float(enthalpy_j_kg(floor.dry_bulb_c, air_w))
    air_kg_s = floor.air_kg_h_kg / (1.0 - run.moisture_wb) / 3600.0  # per kg dry matter
    ratio, (faster, hotter) = run.loss_ratio, times
    usual = rate_per_min(run.cut, ratio) / 60.0 * floor.oxygen_factor * run.disruption
    rate = usual * run.rate_factor * faster
    heat = 1e-3 * run.catechins_mg_g * figure("all.heat_j_kg_catechin") * run.heat_factor * hotter
    formation, loss = run.formation_activation_j_mol, run.loss_activation_j_mol

    def slope(y: Array) -> Array:
        t = y[H] / (solid + y[W] * CP_WATER_J_KG_K)
        k = rate * arrhenius(t, formation)
        k_loss = rate * ratio * arrhenius(t, loss)
        gone = k * y[C]
        out = np.empty_like(y)
        out_t = floor.dry_bulb_c + floor.effectiveness * (t - floor.dry_bulb_c)
        out_w = air_w + floor.effectiveness * (humidity_ratio(np.minimum(t, 90.0), 1.0) - air_w)
        out[Q] = heat * gone
        out[AIR] = air_kg_s * (enthalpy_j_kg(out_t, out_w) - air_h)
        out[VAPOUR] = air_kg_s * (out_w - air_w)
        out[H] = out[Q] - out[AIR]
        out[W] = -out[VAPOUR]
        out[C] = -gone
        # Two catechins join in a theaflavin; it is lost with the quinone that oxidation makes.
        out[TF] = k * y[C] ** 2 - k_loss * y[C] * y[TF]
        return out

    return slope


def course(floor: Floor, run: OxidiseRun) -> tuple[Array, Array]:
    """Minutes and rows of the state."""
    return courses(floor, run, 1.0, 1.0)


def courses(
    floor: Floor, run: OxidiseRun, faster: Array | float, hotter: Array | float
) -> tuple[Array, Array]:
    """Minutes and states, (minutes, rows of the state, courses), of a run that differs a little.

    Classical Runge-Kutta, all courses at once; it keeps the linear balances.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        What they share.
    faster, hotter : ndarray or float
        Multipliers on the run's rate and on its heat of oxidation, one for each course. A plain
        number stands for a single course, without that axis.
    """
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    slope = _slope(floor, run, solid, (faster, hotter))
    water = run.moisture_wb / (1.0 - run.moisture_wb)
    y = np.zeros((7, *np.shape(faster)))
    y[H] = (solid + water * CP_WATER_J_KG_K) * run.leaf_temperature_c
    y[W], y[C] = water, 1.0
    # At most a minute, and half of the bed's own time with its air at a quarter of its water
    # (about 5 kJ per kg air and K with the vapour, thrice that in very warm leaf).
    air_w_k = floor.effectiveness * floor.air_kg_h_kg / (1.0 - run.moisture_wb) / 3600.0 * 5000.0
    own_s = (solid + 0.25 * water * CP_WATER_J_KG_K) / max(1e-6, air_w_k)
    step_min = min(1.0, own_s / 120.0)
    count = max(30, math.ceil(run.minutes / step_min))
    h = run.minutes * 60.0 / count
    rows = [y]
    for _ in range(count):
        a = slope(y)
        b = slope(y + 0.5 * h * a)
        c = slope(y + 0.5 * h * b)
        y = y + h / 6.0 * (a + 2.0 * b + 2.0 * c + slope(y + h * c))
        require(
            bool(np.all(y[W] > 0.25 * water)),
            "relative_humidity",
            floor.relative_humidity,
            f"relative_humidity {floor.relative_humidity:g} with {floor.air_kg_h_kg:g} kg air per "
            "hour and kg dries the leaf before the time is over: moisten the air or give less.",
        )
        rows.append(y)
    return np.linspace(0.0, run.minutes, count + 1), np.array(rows)


def seen_of(run: OxidiseRun, rows: Array) -> dict[str, Array]:
    """What can be measured of a course: theaflavin of infusion solids, share of catechins gone."""
    ratio = run.loss_ratio
    top = float(theaflavin_shape(peak_share(ratio), ratio))
    scale = figure(f"{run.cut}.theaflavin_peak_fraction") / top * run.theaflavin_factor
    return {"theaflavin_fraction": scale * rows[:, TF], "oxidised_share": 1.0 - rows[:, C]}
