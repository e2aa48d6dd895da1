"""The air that reaches the bed: weather, heater and fan, at the middle of every step."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wareleaf import air
from wareleaf.air.wet_bulb import ratio_of_wet_bulb
from wareleaf.stages._wither_fan import WorkingPoint
from wareleaf.stages._wither_spec import Trough, WitherRun, number
from wareleaf.stages.common import SECONDS_PER_HOUR, Array

_RULE_ROUNDS = 5  # of Newton; good to 1e-3 K


@dataclass(frozen=True)
class Weather:
    """Weather and heating at the hours of the run's series; heating is (hours, cases)."""

    time_h: Array
    dry_bulb_c: Array
    relative_humidity: Array
    pressure_pa: Array
    heating_k: Array
    capped: bool


@dataclass(frozen=True)
class Stretch:
    """A stretch of time with the fan in one state: ends, steps, fan and direction."""

    start_h: float
    end_h: float
    steps: int
    fan_on: bool
    upward: bool

    @property
    def step_s(self) -> float:
        """Length of one step, s."""
        return (self.end_h - self.start_h) / self.steps * SECONDS_PER_HOUR

    @property
    def middle_h(self) -> Array:
        """Hour at the middle of each step."""
        edges = np.linspace(self.start_h, self.end_h, self.steps + 1)
        return 0.5 * (edges[1:] + edges[:-1])

    @property
    def end_of_step_h(self) -> Array:
        """Hour at the end of each step."""
        return np.linspace(self.start_h, self.end_h, self.steps + 1)[1:]


def weather(run: WitherRun, more_heating_k: Array) -> Weather:
    """Weather of a run with its heating, and more on top of it by case.

    The heater warms at constant humidity ratio. By the rule (UPASI) it warms where the hygrometric
    difference would stay below 3 K; and never past ``run.air_max_c``.
    """
    time = np.asarray(run.air_time_h, dtype=float)
    dry = np.asarray(run.dry_bulb_c, dtype=float)
    pressure = np.broadcast_to(np.asarray(run.pressure_pa, dtype=float), time.shape)
    humidity = np.asarray(run.relative_humidity, dtype=float)
    fixed = np.broadcast_to(np.asarray(run.heating_k, dtype=float), time.shape)
    wanted = fixed[:, None] + more_heating_k[None, :]
    if run.heat_by_rule:
        ratio = air.humidity_ratio(dry, humidity, pressure)
        needed = _by_rule(dry, ratio, pressure) - dry
        wanted = np.maximum(wanted, needed[:, None])
    limit = np.maximum(0.0, run.air_max_c - dry)[:, None]
    return Weather(
        time_h=time,
        dry_bulb_c=dry,
        relative_humidity=humidity,
        pressure_pa=pressure,
        heating_k=np.minimum(wanted, limit),
        capped=bool(np.any(wanted > limit + 1e-9)),
    )


def _by_rule(dry_c: Array, ratio: Array, pressure: Array) -> Array:
    """Dry bulb at which air of this humidity has the rule's hygrometric difference.

    That is where a wet bulb so far below it would show this humidity, by Newton on the logarithm of
    the saturated humidity there, which is nearly straight.
    """
    least = number("rule.hygrometric_difference_k")
    drop = least * air.CP_DRY_AIR_J_KG_K / air.LATENT_HEAT_0C_J_KG  # below saturation, about
    wet_c = dry_c
    for _ in range(_RULE_ROUNDS):
        shown = ratio_of_wet_bulb(wet_c + least, wet_c, pressure)
        short = np.log((ratio + drop) / np.maximum(shown + drop, 0.1 * drop))
        wet_c = wet_c + short * (wet_c + 235.0) ** 2 / 4030.2  # Magnus; steers only
    return wet_c + least


def stretches(run: WitherRun) -> list[Stretch]:
    """Cut the run where the fan or the direction changes."""
    cuts = {0.0, run.duration_h, *run.reversal_h}
    for start, end in run.fan_off_h:
        cuts |= {start, end}
    edges = sorted(c for c in cuts if 0.0 <= c <= run.duration_h)
    found = []
    for start, end in pairwise(edges):
        middle = 0.5 * (start + end)
        turns = sum(1 for r in run.reversal_h if r < middle)
        found.append(
            Stretch(
                start_h=start,
                end_h=end,
                steps=max(1, math.ceil((end - start) * 60.0 / run.step_min - 1e-9)),
                fan_on=not any(a < middle < b for a, b in run.fan_off_h),
                upward=turns % 2 == 0,
            )
        )
    return found


@dataclass(frozen=True)
class Inlet:
    """Air into the bed at the middle of each step, after heater and fan."""

    dry_bulb_c: Array  # (steps, cases)
    humidity_ratio: Array  # (steps, cases)
    pressure_pa: Array  # (steps,)
    mass_flow_kg_s_m2: Array  # (steps,)
    heater_w_m2: Array  # (steps, cases)

    def part(self, steps: slice) -> Inlet:
        """Some of the steps."""
        return Inlet(
            self.dry_bulb_c[steps],
            self.humidity_ratio[steps],
            self.pressure_pa[steps],
            self.mass_flow_kg_s_m2[steps],
            self.heater_w_m2[steps],
        )


def outside(sky: Weather, hours: Array) -> tuple[Array, Array, Array]:
    """Dry bulb, humidity ratio and pressure: straight lines in dry bulb and relative humidity.

    (A straight line in humidity ratio between two saturated hours would be supersaturated.)
    The last hour is held beyond the end.
    """
    dry = np.interp(hours, sky.time_h, sky.dry_bulb_c)
    humidity = np.interp(hours, sky.time_h, sky.relative_humidity)
    pressure = np.interp(hours, sky.time_h, sky.pressure_pa)
    return dry, air.humidity_ratio(dry, humidity, pressure), pressure


def inlet(sky: Weather, cut: list[Stretch], point: WorkingPoint, trough: Trough) -> list[Inlet]:
    """Air of each stretch, warmed by heater and fan (should it blow)."""
    t = np.concatenate([stretch.middle_h for stretch in cut])
    ambient, ratio, pressure = outside(sky, t)
    heating = np.stack([np.interp(t, sky.time_h, h) for h in sky.heating_k.T], axis=1)
    volume = air.specific_volume_m3_kg(ambient, ratio, pressure)
    flow = point.air_velocity_m_s / volume
    heat = air.CP_DRY_AIR_J_KG_K + air.CP_VAPOUR_J_KG_K * ratio
    fan_w_m2 = trough.fan_heat_share * point.electric_w(trough) / trough.area_m2
    warm = ambient[:, None] + heating + (fan_w_m2 / (flow * heat))[:, None]
    whole = Inlet(
        dry_bulb_c=warm,
        humidity_ratio=np.broadcast_to(ratio[:, None], warm.shape),
        pressure_pa=pressure,
        mass_flow_kg_s_m2=flow,
        heater_w_m2=(flow * heat)[:, None] * heating,
    )
    ends = np.cumsum([stretch.steps for stretch in cut]).tolist()
    return [whole.part(slice(end - s.steps, end)) for end, s in zip(ends, cut, strict=True)]
