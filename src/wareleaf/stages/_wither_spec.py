"""What a withering run is told and what it answers: the trough, the run and the result."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

from wareleaf import leaf
from wareleaf.measure import Figure, require
from wareleaf.stages.common import StageResult, finite, log_sd, stage_figures

LONGEST_H = 96.0


@cache
def figures() -> dict[str, Figure]:
    """The published and practice figures of withering, by ``subject.quantity``."""
    return stage_figures("wither")


def number(name: str) -> float:
    """One figure's value."""
    return figures()[name].value


@dataclass(frozen=True)
class Trough:
    """A withering trough: leaf on a net, a fan that blows up through it.

    Parameters
    ----------
    length_m, width_m : float
        Of the net, m.
    air_velocity_m_s : float
        Face velocity over the bed at the design loading with the fan at full speed, m/s.
    fan_pressure_pa : float
        Pressure of the fan at that point, Pa.
    fan_shutoff_pressure_pa : float
        Pressure of the fan against a closed damper, Pa.
    fan_efficiency : float
        Air power over electric power, 0 to 1.
    fan_heat_share : float
        Share of the fan's electric power that warms the air (1 when the motor stands in it).
    n_layers : int
        Layers of the bed, 2 to 100.
    """

    length_m: float = field(default_factory=lambda: number("trough.length_m"))
    width_m: float = field(default_factory=lambda: number("trough.width_m"))
    air_velocity_m_s: float = field(default_factory=lambda: number("trough.air_velocity_m_s"))
    fan_pressure_pa: float = field(default_factory=lambda: number("fan.pressure_design_pa"))
    fan_shutoff_pressure_pa: float = field(
        default_factory=lambda: number("fan.pressure_design_pa") * number("fan.shutoff_over_design")
    )
    fan_efficiency: float = field(default_factory=lambda: number("fan.efficiency"))
    fan_heat_share: float = 1.0
    n_layers: int = 10

    def __post_init__(self) -> None:
        """Refuse a trough that cannot be."""
        finite("length_m", self.length_m, 0.0, 200.0, "m", above=True)
        finite("width_m", self.width_m, 0.0, 20.0, "m", above=True)
        finite("air_velocity_m_s", self.air_velocity_m_s, 0.0, 2.0, "m/s", above=True)
        finite("fan_pressure_pa", self.fan_pressure_pa, 0.0, 5000.0, "Pa", above=True)
        finite("fan_efficiency", self.fan_efficiency, 0.0, 1.0, above=True)
        finite("fan_heat_share", self.fan_heat_share, 0.0, 1.0)
        require(
            math.isfinite(self.fan_shutoff_pressure_pa)
            and self.fan_shutoff_pressure_pa > self.fan_pressure_pa,
            "fan_shutoff_pressure_pa",
            self.fan_shutoff_pressure_pa,
            f"fan_shutoff_pressure_pa is {self.fan_shutoff_pressure_pa:g}; it must be above "
            f"fan_pressure_pa, {self.fan_pressure_pa:g} Pa.",
        )
        require(
            2 <= self.n_layers <= 100,
            "n_layers",
            self.n_layers,
            f"n_layers is {self.n_layers}; it must be from 2 to 100.",
        )

    @property
    def area_m2(self) -> float:
        """Net area, m2."""
        return self.length_m * self.width_m


@dataclass(frozen=True)
class WitherRun:
    """One load on a trough, and the air it gets.

    Parameters
    ----------
    leaf_id : str
        Leaf profile.
    mass_kg : float
        Leaf spread, as weighed, surface water included.
    moisture_wb : float
        Moisture of that mass, surface water included.
    air_time_h, dry_bulb_c, relative_humidity, pressure_pa : tuple of float
        Weather at these hours since the start, straight lines between; one value stands for all
        hours. ``pressure_pa`` may be one value.
    duration_h : float
        How long it lies.
    heating_k : tuple of float
        Warming of the air by the heater at each weather hour, K; one value stands for all.
    heat_by_rule : bool
        Also warm the air whenever its hygrometric difference is below the rule's 3 K, up to 3 K.
    surface_water_share : float
        Rain or dew on the leaf, share of ``mass_kg``.
    fan_off_h : tuple of (float, float)
        From and to, hours.
    reversal_h : tuple of float
        Hours at which the air is turned round; it starts upwards.
    leaf_temperature_c : float or None
        Of the leaf as spread; None means that of the first air.
    hours_since_plucking : float
        At the start.
    moisture_wb_sd : float
        Standard uncertainty of ``moisture_wb``.
    rate_relative_sd : float or None
        Of the rate constant; ``None``: the lot-to-lot figure of the profile.
    air_max_c : float
        The heater never warms the air past this dry bulb (by the rule 35 degC).
    step_min : float
        Longest time step, minutes.
    rate_factor : float
        Rate of this leaf over that of its profile, from a trial of the works' own.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    air_time_h: tuple[float, ...]
    dry_bulb_c: tuple[float, ...]
    relative_humidity: tuple[float, ...]
    pressure_pa: tuple[float, ...] = (101325.0,)
    duration_h: float = 14.0
    heating_k: tuple[float, ...] = (0.0,)
    heat_by_rule: bool = False
    surface_water_share: float = 0.0
    fan_off_h: tuple[tuple[float, float], ...] = ()
    reversal_h: tuple[float, ...] = ()
    leaf_temperature_c: float | None = None
    hours_since_plucking: float = 0.0
    moisture_wb_sd: float = 0.01
    rate_relative_sd: float | None = None
    air_max_c: float = field(default_factory=lambda: number("rule.mixed_dry_bulb_max_c"))
    step_min: float = 15.0
    rate_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        finite("mass_kg", self.mass_kg, 0.0, 1e6, "kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.05, 0.95)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        if self.rate_relative_sd is not None:
            finite("rate_relative_sd", self.rate_relative_sd, 0.0, 2.0)
        finite("duration_h", self.duration_h, 0.0, LONGEST_H, "h", above=True)
        finite("air_max_c", self.air_max_c, 0.0, 50.0, "degC")
        finite("step_min", self.step_min, 0.1, 60.0, "min")
        finite("rate_factor", self.rate_factor, 0.0, 1000.0, above=True)
        finite("surface_water_share", self.surface_water_share, 0.0, 0.5)
        finite("hours_since_plucking", self.hours_since_plucking, 0.0, 240.0, "h")
        if self.leaf_temperature_c is not None:
            finite("leaf_temperature_c", self.leaf_temperature_c, 0.0, 50.0, "degC")
        require(
            self.surface_water_share < self.moisture_wb,
            "surface_water_share",
            self.surface_water_share,
            f"surface_water_share is {self.surface_water_share:g}; it is part of the moisture, so "
            f"it must be below moisture_wb, {self.moisture_wb:g}.",
        )
        self._check_air()
        self._check_hours()

    def _check_air(self) -> None:
        n = len(self.air_time_h)
        require(n > 0, "air_time_h", n, "air_time_h is empty; give at least one hour of air.")
        _increasing("air_time_h", self.air_time_h)
        limits = {
            "dry_bulb_c": (-5.0, 50.0, "degC"),
            "relative_humidity": (0.0, 1.0, ""),
            "pressure_pa": (60000.0, 110000.0, "Pa"),
            "heating_k": (0.0, 40.0, "K"),
        }
        for name, (low, high, unit) in limits.items():
            values: tuple[float, ...] = getattr(self, name)
            alone = name in ("pressure_pa", "heating_k") and len(values) == 1
            require(
                alone or len(values) == n,
                name,
                len(values),
                f"{name} has {len(values)} values and air_time_h has {n}; they must be as many.",
            )
            for value in values:
                finite(name, value, low, high, unit)

    def _check_hours(self) -> None:
        _increasing("reversal_h", self.reversal_h)
        last = 0.0
        for start, end in self.fan_off_h:
            require(
                last <= start < end,
                "fan_off_h",
                (start, end),
                f"fan_off_h has a pause from {start:g} to {end:g} h; pauses must be in order, "
                "each ending after it starts and none over another.",
            )
            last = end


def rate_log_sd(run: WitherRun) -> float:
    """Standard deviation of the logarithm of the rate constant that the run assumes."""
    if run.rate_relative_sd is not None:
        return log_sd(run.rate_relative_sd)
    return log_sd(leaf.rate_constant_relative_sd(leaf.profile(run.leaf_id), "wither"))


def _increasing(name: str, hours: Sequence[float]) -> None:
    last = -math.inf
    for hour in hours:
        finite(name, hour, 0.0, unit="h")
        require(
            hour > last, name, hour, f"{name} has {hour:g} h after {last:g} h; hours must rise."
        )
        last = hour


@dataclass(frozen=True)
class WitherResult(StageResult):
    """What came of it.

    The common fields are those of `wareleaf.stages.common.StageResult`; ``moisture_wb`` everywhere
    is that of the weighed leaf, surface water included. Series have one value per step.

    Parameters
    ----------
    percent_wither : float
        Mass out over mass in, a fraction.
    moisture_layers_wb : tuple of float
        At the end, bottom layer first.
    wettest_layer : int
        Counted from 1 at the bottom.
    moisture_wettest_wb : float
        Of that layer at the end.
    hours_since_plucking : float
        At the end: the chemical wither, kept apart from the physical one.
    air_velocity_m_s, pressure_drop_pa, loading_kg_m2 : float
        Working point of the fan on this load.
    time_h, moisture_mean_wb, moisture_bottom_wb, moisture_top_wb, moisture_high_wb : tuple
        Series: hours, mean, bottom and top layer, wettest layer.
    leaf_bottom_c, leaf_top_c : tuple
        Leaf temperature.
    air_in_c, air_in_rh, air_out_c, air_out_rh : tuple
        Air to and from the bed; NaN-free: while the fan stands, the last values.
    air_upward : tuple of bool
        Direction.
    wither_share : tuple
        Series of percent wither, a fraction.
    """

    leaf_temperature_min_c: float
    percent_wither: float
    moisture_layers_wb: tuple[float, ...]
    wettest_layer: int
    moisture_wettest_wb: float
    hours_since_plucking: float
    air_velocity_m_s: float
    pressure_drop_pa: float
    loading_kg_m2: float
    time_h: tuple[float, ...]
    moisture_mean_wb: tuple[float, ...]
    moisture_bottom_wb: tuple[float, ...]
    moisture_top_wb: tuple[float, ...]
    moisture_high_wb: tuple[float, ...]
    leaf_bottom_c: tuple[float, ...]
    leaf_top_c: tuple[float, ...]
    air_in_c: tuple[float, ...]
    air_in_rh: tuple[float, ...]
    air_out_c: tuple[float, ...]
    air_out_rh: tuple[float, ...]
    air_upward: tuple[bool, ...]
    wither_share: tuple[float, ...]
