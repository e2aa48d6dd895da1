"""Leaf under sun, sky and wind, step by step, many cases at once.

Two resistances in series, as in every dryer of this house, give water per kg of dry matter,

    1/N = 1/Ne + 1/(k (X - Xe)),   Ne = h A (Ws(T) - W)/(cp m_d)

with k of the profile (15 to 40 degC thin layer) at the leaf's own temperature and the wind, and Xe
its isotherm at the vapour of the air and the temperature of the leaf: the desorption branch for
leaf that dries, the adsorption branch for leaf that takes water up; between the two it stays as it
is. The leaf's temperature T closes the heat balance of the step, implicitly:

    d(enthalpy) = sun - long wave to sky and surroundings - h A (T - Ta) - mat - N h_vapour(T)

Sun-warmed leaf may be warmer than the air; it then sits above the wet bulb, as a black plate does.
Leaf below the dew point gathers dew, whatever its balance. Uptake passes both resistances in
series, the outer one as g W/Xe (chord of the isotherm).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.air import CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K, LATENT_HEAT_0C_J_KG, humidity_ratio
from wareleaf.air.constants import CP_WATER_J_KG_K, MOLAR_MASS_RATIO
from wareleaf.leaf._arrays import solve_increasing
from wareleaf.stages import sun_dry_sky as sky
from wareleaf.stages._dry_cell import _approach
from wareleaf.stages._dry_tables import Tables, tables
from wareleaf.stages.common import SECONDS_PER_HOUR, Array
from wareleaf.stages.sun_dry_spec import Ground, SunRun, number

_KELVIN = 273.15
_ROOT_K = 1e-9


@dataclass(frozen=True)
class Cases:
    """Cases marched together, one entry each; factors are 1 for the nominal case."""

    rate: Array
    start_db: Array
    dry_kg_m2: Array
    sun: Array
    outer: Array


@dataclass(frozen=True)
class Trace:
    """The course, (steps + 1, cases), and sums per kg of dry matter over all steps, (cases,)."""

    time_h: Array
    moisture_db: Array
    leaf_c: Array
    covered: Array  # (steps,)
    night: Array  # (steps,)
    evaporated: Array
    taken_up: Array
    rain: Array
    sun_j: Array
    heat_in_j: Array  # sun, sky, air, rain, less the vapour's enthalpy
    heat_gained_j: Array


@dataclass(frozen=True)
class _Moment:
    """The air and sky of one step; single numbers."""

    celsius: float
    ratio: float
    wind: float
    sun_w_m2: float
    sky_loss_w_m2: float
    rain_kg_m2: float


def march(ground: Ground, run: SunRun, cases: Cases) -> Trace:
    """All cases over the run."""
    steps = int(np.ceil(run.duration_h * 60.0 / run.step_min - 1e-9))
    step_h = run.duration_h / steps
    moments, covered, night = _moments(ground, run, steps, step_h)
    profile = leaf.profile(run.leaf_id)
    table = tables(profile, run.weather.pressure_pa)
    x, t = cases.start_db.copy(), np.full(cases.rate.size, run.weather.dry_bulb_c[0])
    moisture, celsius = [x], [t]
    sums = np.zeros((5, x.size))
    first_j = table.leaf_heat(x, t)
    for moment in moments:
        film = np.minimum(moment.rain_kg_m2 * step_h, number("ground.rain_film_kg_m2"))
        rain = np.where(x < cases.start_db, film / cases.dry_kg_m2, 0.0)
        step = _Step(ground, profile, table, cases, moment, x + rain, step_h)
        before_j = table.leaf_heat(x, t) + rain * CP_WATER_J_KG_K * moment.celsius
        # heat of binding that the rain makes free stays with the leaf: it is part of leaf_heat
        t = step.temperature(before_j, t)
        after, sun_j, in_j = step.outcome(t)
        lost = x + rain - after
        sums += np.stack(
            [
                np.maximum(lost, 0.0),
                np.maximum(-lost, 0.0),
                rain,
                sun_j,
                in_j + rain * CP_WATER_J_KG_K * moment.celsius,
            ]
        )
        x = after
        moisture.append(x)
        celsius.append(t)
    return Trace(
        time_h=np.linspace(0.0, run.duration_h, steps + 1),
        moisture_db=np.array(moisture),
        leaf_c=np.array(celsius),
        covered=covered,
        night=night,
        evaporated=sums[0],
        taken_up=sums[1],
        rain=sums[2],
        sun_j=sums[3],
        heat_in_j=sums[4],
        heat_gained_j=table.leaf_heat(x, t) - first_j,
    )


def _moments(
    ground: Ground, run: SunRun, steps: int, step_h: float
) -> tuple[list[_Moment], Array, Array]:
    """Air and sky at the middle of every step, with the cover rule applied."""
    weather = run.weather
    clock = np.arange(weather.hours + 1, dtype=float)
    middle = (np.arange(steps) + 0.5) * step_h
    hour = np.minimum(np.floor(middle).astype(int) + 1, weather.hours)
    ghi = np.array(weather.ghi_w_m2)
    clear = sky.clearness(ghi, weather.clear_sky_w_m2())[hour]
    celsius = np.interp(middle, clock, weather.dry_bulb_c)
    damp = np.clip(np.interp(middle, clock, weather.relative_humidity), 1e-4, 1.0)
    ratio = np.asarray(humidity_ratio(celsius, damp, weather.pressure_pa))
    vapour = weather.pressure_pa * ratio / (MOLAR_MASS_RATIO + ratio)
    wind = sky.wind_at(ground.height_m, np.interp(middle, clock, weather.wind_m_s))
    sun = ghi[hour]
    rain = np.array(weather.rain_mm)[hour] if weather.rain_mm else np.zeros(steps)
    night = sun < number("ground.night_w_m2")
    wet = rain > number("ground.rain_mm")
    covered = (night & ground.cover_at_night) | (wet & ground.cover_in_rain)
    loss = sky.sky_loss_w_m2(celsius, vapour, clear)
    still = number("ground.covered_wind_m_s")
    moments = [
        _Moment(
            float(celsius[i]),
            float(ratio[i]),
            still if covered[i] else float(wind[i]),
            0.0 if covered[i] else float(sun[i]),
            0.0 if covered[i] else float(loss[i]),
            0.0 if covered[i] else float(rain[i]),
        )
        for i in range(steps)
    ]
    return moments, covered.astype(float), night.astype(float)


class _Step:
    """One step of all cases: water and heat as functions of the leaf's end temperature."""

    def __init__(
        self,
        ground: Ground,
        profile: leaf.LeafProfile,
        table: Tables,
        cases: Cases,
        moment: _Moment,
        start_db: Array,
        step_h: float,
    ) -> None:
        cover = np.minimum(1.0, 0.5 * profile.specific_surface_m2_kg * cases.dry_kg_m2)
        self.area = ground.faces * cover / cases.dry_kg_m2  # m2 per kg dry matter
        self.open = cover / cases.dry_kg_m2
        self.h = cases.outer * (number("ground.h_still") + number("ground.h_wind") * moment.wind)
        self.loss = self.h * self.area
        if ground.faces == 1:
            self.loss = self.loss + number("ground.mat_loss_w_m2_k") * self.open
        self.table, self.moment, self.x0, self.step_h = table, moment, start_db, step_h
        self.cp = CP_DRY_AIR_J_KG_K + CP_VAPOUR_J_KG_K * moment.ratio
        self.sun_w = number("ground.solar_absorptance") * moment.sun_w_m2 * self.open * cases.sun
        self.rate_at = _rate_of(profile, moment.wind, cases.rate)

    def water(self, t: Array) -> Array:
        """Moisture at the end of the step for an end temperature."""
        saturated = self.table.saturated_ratio(t)
        ratio = self.moment.ratio
        here = ratio / (MOLAR_MASS_RATIO + ratio)
        activity = here * (MOLAR_MASS_RATIO + saturated) / saturated
        excess = self.table.excess(self.x0, t, np.minimum(activity, 1.0))
        end = self.x0 - excess
        g = self.h * self.area / self.cp * SECONDS_PER_HOUR
        limit, rate = g * (saturated - ratio), self.rate_at(t)
        drying = (excess > 0.0) & (limit > 0.0)
        dried = _approach(
            np.where(drying, excess, 1.0),
            rate,
            np.where(drying, limit, 1.0),
            np.asarray(self.step_h),
        )
        outer = g * ratio / np.maximum(end, 1e-6)
        taken = np.minimum(excess, 0.0) * np.exp(-self.step_h / (1.0 / rate + 1.0 / outer))
        wetted = np.maximum(excess, 0.0) + taken - np.minimum(limit, 0.0) * self.step_h
        return end + np.where(drying, dried, wetted)

    def heat_w(self, t: Array) -> Array:
        """Heat that flows to the leaf, W per kg dry matter, without the vapour's."""
        e = number("ground.emissivity") * sky.STEFAN_BOLTZMANN_W_M2_K4
        around = self.moment.celsius
        long_wave = e * self.area * ((t + _KELVIN) ** 4 - (around + _KELVIN) ** 4)
        sky_loss = number("ground.emissivity") * self.moment.sky_loss_w_m2 * self.open
        return self.sun_w - long_wave - sky_loss - self.loss * (t - around)

    def temperature(self, before_j: Array, near: Array) -> Array:
        """End temperature that closes the heat balance; the balance rises with it."""
        seconds = self.step_h * SECONDS_PER_HOUR

        def surplus(t: Array) -> Array:
            after = self.water(t)
            vapour = (self.x0 - after) * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)
            stored = self.table.leaf_heat(after, t) - before_j
            return stored + vapour - seconds * self.heat_w(t)

        low = np.minimum(near, self.moment.celsius) - 29.0
        low = np.maximum(low, -29.5)
        high = np.maximum(near, self.moment.celsius) + 70.0
        return solve_increasing(surplus, np.zeros(near.shape), low, high, _ROOT_K)

    def outcome(self, t: Array) -> tuple[Array, Array, Array]:
        """Moisture, sun taken up and all heat that came with what left, J per kg dry matter."""
        after, seconds = self.water(t), self.step_h * SECONDS_PER_HOUR
        vapour = (self.x0 - after) * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)
        return after, self.sun_w * seconds, seconds * self.heat_w(t) - vapour


def _rate_of(profile: leaf.LeafProfile, wind: float, factor: Array) -> Callable[[Array], Array]:
    """Rate constant per hour at a leaf temperature, the wind's share fixed for the step."""
    celsius = np.linspace(-30.0, 90.0, 61)
    still = max(wind, number("ground.covered_wind_m_s"))
    log_rate = np.log(np.asarray(leaf.rate_constant_per_h(profile, celsius, still, "wither")))

    def rate(t: Array) -> Array:
        return np.asarray(factor * np.exp(np.interp(t, celsius, log_rate)))

    return rate
