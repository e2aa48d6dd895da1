"""Leaf on the oxidation floor: catechins go, theaflavin comes and goes, the bed warms itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.air import CP_WATER_J_KG_K, enthalpy_j_kg, humidity_ratio
from wareleaf.measure import require
from wareleaf.stages.common import Array, StageResult, cite, finite, relative_closure
from wareleaf.stages.oxidise_rate import (
    ACTIVATION_J_MOL,
    CUTS,
    FIGURES,
    arrhenius,
    figure,
    peak_share,
    rate_per_min,
    theaflavin_shape,
)

# Rows of the state: leaf enthalpy J, water kg, catechin left 0..1, theaflavin (unscaled), heat of
# oxidation J, enthalpy given to the air J, water given to the air kg. All per kg dry matter.
_H, _W, _C, _TF, _Q, _AIR, _VAPOUR = range(7)


@dataclass(frozen=True)
class Floor:
    """An oxidation floor or trough and its air.

    Parameters
    ----------
    dry_bulb_c, relative_humidity : float
        Air at the leaf.
    air_kg_h_kg : float
        Dry air that passes the leaf, kg per hour per kg of leaf; 0 is still air.
    effectiveness : float
        How near the air comes to the leaf's temperature and to saturation.
    oxygen_factor : float
        Oxygen at the leaf against that of open air; below 1 in a deep bed without air.
    fan_kw : float
        Fans and humidifiers while leaf lies.
    """

    dry_bulb_c: float = 24.0
    relative_humidity: float = 0.96
    air_kg_h_kg: float = 3.0
    effectiveness: float = 0.7
    oxygen_factor: float = 1.0
    fan_kw: float = 1.5

    def __post_init__(self) -> None:
        """Refuse a floor that cannot be."""
        finite("dry_bulb_c", self.dry_bulb_c, 5.0, 45.0, "degC")
        finite("relative_humidity", self.relative_humidity, 0.0, 1.0)
        finite("air_kg_h_kg", self.air_kg_h_kg, 0.0, 100.0, "kg/(h kg)")
        finite("effectiveness", self.effectiveness, 0.0, 1.0)
        finite("oxygen_factor", self.oxygen_factor, 0.0, 5.0, above=True)
        finite("fan_kw", self.fan_kw, 0.0, unit="kW")


@dataclass(frozen=True)
class OxidiseRun:
    """Rolled leaf on the floor.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        Rolled leaf.
    minutes : float
        Time on the floor.
    cut : str
        ``orthodox_fine``, ``orthodox_coarse`` or ``ctc``: sets the rate.
    disruption : float
        Share of broken cells against a normal roll of that cut; scales the rate.
    leaf_temperature_c : float
        Leaf as it comes from the roll.
    catechins_mg_g : float
        In the dry matter; sets the heat that oxidation gives.
    rate_factor, theaflavin_factor, heat_factor : float
        Multipliers learned from readings or fitted to a trial.
    loss_ratio : float
        Loss of theaflavin against oxidation of catechin; shapes the fall after the peak.
    formation_activation_j_mol, loss_activation_j_mol : float
        Activation energies of oxidation and of the loss of theaflavin, J/mol.
    rate_log_sd : float
        Of this leaf's rate, natural logarithm; the eleven cultivars' when nothing nearer is known.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    minutes: float = 60.0
    cut: str = "orthodox_fine"
    disruption: float = 1.0
    moisture_wb_sd: float = 0.01
    leaf_temperature_c: float = 26.0
    catechins_mg_g: float = 137.5
    rate_factor: float = 1.0
    theaflavin_factor: float = 1.0
    heat_factor: float = 1.0
    loss_ratio: float = figure("all.loss_ratio")
    formation_activation_j_mol: float = figure("all.formation_activation_j_mol")
    loss_activation_j_mol: float = figure("all.loss_activation_j_mol")
    rate_log_sd: float = figure("all.rate_log_sd")

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        profile = leaf.profile(self.leaf_id)
        require(
            profile.crop == "tea",
            "leaf_id",
            self.leaf_id,
            f"leaf_id is {self.leaf_id!r}; only tea leaf is oxidised.",
        )
        require(
            self.cut in CUTS,
            "cut",
            self.cut,
            f"cut is {self.cut!r}; it must be one of {', '.join(CUTS)}.",
        )
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.2, 0.9)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("minutes", self.minutes, 0.0, 1440.0, "min", above=True)
        finite("disruption", self.disruption, 0.0, 3.0, above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, 5.0, 50.0, "degC")
        finite("catechins_mg_g", self.catechins_mg_g, 0.0, 400.0, "mg/g")
        for name in ("rate_factor", "theaflavin_factor", "heat_factor"):
            finite(name, getattr(self, name), 0.0, 100.0, above=True)
        finite("loss_ratio", self.loss_ratio, 0.01, 100.0)
        for name in ("formation_activation_j_mol", "loss_activation_j_mol"):
            finite(name, getattr(self, name), *ACTIVATION_J_MOL, "J/mol")
        finite("rate_log_sd", self.rate_log_sd, 0.0, 2.0, above=True)


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


def _slope(floor: Floor, run: OxidiseRun, solid: float) -> Callable[[Array], Array]:
    air_w = float(humidity_ratio(floor.dry_bulb_c, floor.relative_humidity))
    air_h = float(enthalpy_j_kg(floor.dry_bulb_c, air_w))
    air_kg_s = floor.air_kg_h_kg / (1.0 - run.moisture_wb) / 3600.0  # per kg dry matter
    ratio = run.loss_ratio
    rate = (
        rate_per_min(run.cut, ratio) / 60.0 * floor.oxygen_factor * run.disruption * run.rate_factor
    )
    heat = 1e-3 * run.catechins_mg_g * figure("all.heat_j_kg_catechin") * run.heat_factor
    formation, loss = run.formation_activation_j_mol, run.loss_activation_j_mol

    def slope(y: Array) -> Array:
        t = float(y[_H] / (solid + y[_W] * CP_WATER_J_KG_K))
        k = rate * arrhenius(t, formation)
        k_loss = rate * ratio * arrhenius(t, loss)
        gone = k * y[_C]
        # Two catechins join in a theaflavin; it is lost with the quinone that oxidation makes.
        made = k * y[_C] ** 2 - k_loss * y[_C] * y[_TF]
        out_t = floor.dry_bulb_c + floor.effectiveness * (t - floor.dry_bulb_c)
        out_w = air_w + floor.effectiveness * (float(humidity_ratio(min(t, 90.0), 1.0)) - air_w)
        carried = air_kg_s * (float(enthalpy_j_kg(out_t, out_w)) - air_h)
        vapour = air_kg_s * (out_w - air_w)
        return np.array([heat * gone - carried, -vapour, -gone, made, heat * gone, carried, vapour])

    return slope


def course(floor: Floor, run: OxidiseRun) -> tuple[Array, Array]:
    """Minutes and rows of the state (classical Runge-Kutta; it keeps the linear balances)."""
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    slope = _slope(floor, run, solid)
    water = run.moisture_wb / (1.0 - run.moisture_wb)
    y = np.zeros(7)
    y[_H] = (solid + water * CP_WATER_J_KG_K) * run.leaf_temperature_c
    y[_W], y[_C] = water, 1.0
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
            y[_W] > 0.25 * water,
            "relative_humidity",
            floor.relative_humidity,
            f"relative_humidity {floor.relative_humidity:g} with {floor.air_kg_h_kg:g} kg air per "
            "hour and kg dries the leaf before the time is over: moisten the air or give less.",
        )
        rows.append(y)
    return np.linspace(0.0, run.minutes, count + 1), np.array(rows)


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
    temperature = rows[:, _H] / (solid + rows[:, _W] * CP_WATER_J_KG_K)
    ratio = run.loss_ratio
    top = float(theaflavin_shape(peak_share(ratio), ratio))
    scale = figure(f"{run.cut}.theaflavin_peak_fraction") / top * run.theaflavin_factor
    tf = scale * rows[:, _TF]
    best, value, window = _peak(minutes, tf)
    dry = run.mass_kg * (1.0 - run.moisture_wb)
    first, last = rows[0], rows[-1]
    moisture = rows[:, _W] / (1.0 + rows[:, _W])
    return OxidiseResult(
        duration_h=run.minutes / 60.0,
        mass_in_kg=run.mass_kg,
        mass_out_kg=dry * float(1.0 + last[_W]),
        dry_matter_kg=dry,
        moisture_wb_out=float(moisture[-1]),
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=run.mass_kg * run.moisture_wb - dry * float(last[_W]),
        heat_kwh=0.0,
        electricity_kwh=floor.fan_kw * run.minutes / 60.0,
        fuel_kg=0.0,
        water_residual=relative_closure(
            float(first[_W] - last[_W]), float(last[_VAPOUR]), float(first[_W])
        ),
        energy_residual=relative_closure(
            float(last[_H] - first[_H]), float(last[_Q] - last[_AIR]), float(first[_H])
        ),
        leaf_temperature_max_c=float(np.max(temperature)),
        theaflavin_fraction=float(tf[-1]),
        theaflavin_fraction_sd=float(tf[-1]) * figure("all.theaflavin_log_sd"),
        oxidised_share=1.0 - float(last[_C]),
        peak_min=best,
        peak_sd_min=best * run.rate_log_sd if math.isfinite(best) else math.inf,
        peak_theaflavin_fraction=value,
        window_min=window,
        course_min=tuple(minutes.tolist()),
        course_leaf_c=tuple(temperature.tolist()),
        course_theaflavin=tuple(tf.tolist()),
        course_oxidised=tuple((1.0 - rows[:, _C]).tolist()),
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
