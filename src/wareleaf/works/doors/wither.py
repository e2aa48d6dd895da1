"""Trough withering through a bed: the course, the settings for a target, the hour it is there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.stages.common import Aim
    from wareleaf.stages.wither import Trough as StageTrough
    from wareleaf.stages.wither import WitherProjection, WitherResult, WitherRun


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Trough(_Part):
    """The trough; what is left out has the default of the published trough."""

    length_m: float | None = Field(None, description="Length of the net, m (22.9).")
    width_m: float | None = Field(None, description="Width of the net, m (1.8).")
    air_velocity_m_s: float | None = Field(
        None, description="Face velocity at the design load and full fan, m/s (0.229)."
    )
    fan_pressure_pa: float | None = Field(None, description="Fan pressure there, Pa (196).")
    fan_shutoff_pressure_pa: float | None = Field(
        None, description="Fan pressure against a closed damper, Pa (294)."
    )
    fan_efficiency: float | None = Field(None, description="Air over electric power (0.5).")
    fan_heat_share: float | None = Field(
        None, description="Share of fan power that warms the air (1: motor in the air)."
    )
    n_layers: int | None = Field(None, description="Layers of the bed (10).")


class Reading(_Part):
    """One reading of the load on the trough."""

    time_h: float = Field(description="Hours since the start.")
    quantity: str = Field(description="moisture_wb (mean of the bed) or mass_kg (whole load).")
    value: float
    standard_uncertainty: float


class Input(DoorInput):
    """A load and its air; with a target also the settings for it, with readings the projection."""

    leaf: str = Field("tea_black", description="Leaf profile id.")
    mass_kg: float = Field(description="Leaf spread as weighed, surface water included.")
    moisture_wb: float = Field(description="Moisture of that mass, 0.05 to 0.95.")
    moisture_wb_sd: float = Field(0.01, description="Standard uncertainty of moisture_wb.")
    surface_water_share: float = Field(
        0.0, description="Rain or dew on the leaf, share of mass_kg; part of moisture_wb."
    )
    dry_bulb_c: list[float] = Field(
        min_length=1, description="Weather, degC; one value stands for all hours."
    )
    relative_humidity: list[float] = Field(min_length=1, description="Weather, 0 to 1.")
    pressure_pa: list[float] = Field([101325.0], min_length=1)
    air_time_h: list[float] | None = Field(
        None, description="Hours of the weather since the start; left out: 0, 1, 2 and so on."
    )
    duration_h: float = Field(14.0, description="How long it lies, at most 96 h.")
    heating_k: list[float] = Field(
        [0.0], min_length=1, description="Warming by the heater, one value or one per hour."
    )
    heat_by_rule: bool = Field(
        False, description="Also warm the air up to a hygrometric difference of 3 degC."
    )
    air_max_c: float | None = Field(
        None, description="Dry bulb that heated air must not pass, degC (35)."
    )
    fan_off_h: list[tuple[float, float]] = Field([], description="Pauses of the fan, from and to.")
    reversal_h: list[float] = Field([], description="Hours at which the air is turned round.")
    leaf_temperature_c: float | None = Field(
        None, description="Of the leaf as spread; left out: that of the first air."
    )
    hours_since_plucking: float = Field(0.0, description="At the start.")
    step_min: float = Field(15.0, description="Longest time step, minutes.")
    rate_factor: float = Field(1.0, description="Leaf against profile, from your own trial.")
    trough: Trough = Field(default_factory=lambda: Trough.model_validate({}))
    target_moisture_wb: float | None = Field(
        None, description="Mean moisture wanted: asks for settings and, with readings, the hour."
    )
    target_sd: float = Field(0.0, description="Its tolerance as one standard deviation.")
    latest_h: float | None = Field(
        None, description="Hour by which the target must be there (duration_h)."
    )
    readings: list[Reading] = Field([], description="Readings so far, in time order.")


class Course(_Part):
    """What a run gives; series have one value per step."""

    duration_h: float
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    water_removed_kg: float
    percent_wither: float = Field(description="Mass out over mass in, a fraction.")
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    water_residual: float
    energy_residual: float
    leaf_temperature_min_c: float
    leaf_temperature_max_c: float
    moisture_layers_wb: list[float] = Field(description="At the end, bottom layer first.")
    wettest_layer: int = Field(description="Counted from 1 at the bottom.")
    moisture_wettest_wb: float
    hours_since_plucking: float
    air_velocity_m_s: float
    pressure_drop_pa: float
    loading_kg_m2: float
    time_h: list[float]
    moisture_mean_wb: list[float]
    moisture_bottom_wb: list[float]
    moisture_top_wb: list[float]
    moisture_high_wb: list[float]
    wither_share: list[float]
    leaf_bottom_c: list[float]
    leaf_top_c: list[float]
    air_in_c: list[float]
    air_in_rh: list[float]
    air_out_c: list[float]
    air_out_rh: list[float]
    air_upward: list[bool]


class Settings(_Part):
    """Settings that reach the target, or the nearest ones and why they do not."""

    reachable: bool
    reason: str
    duration_h: float
    heating_k: float = Field(description="On top of the run's own heating.")
    course: Course


class Finish(_Part):
    """The hour of the target from the readings; null hours mean not in the time looked at."""

    finish_h: float | None
    finish_sd_h: float | None
    wettest_finish_h: float | None
    moisture_wb_now: float
    moisture_wb_now_sd: float
    rate_factor: float = Field(description="Rate of this lot over that of its profile.")
    rate_factor_sd: float
    curve_time_h: list[float]
    curve_moisture_wb: list[float]
    curve_low: list[float]
    curve_high: list[float]
    note: str


class Output(DoorOutput):
    """The course as asked for, and what target and readings add."""

    course: Course
    settings: Settings | None = None
    projection: Finish | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import require
    from wareleaf.stages import wither

    require(
        data.target_moisture_wb is not None or not data.readings,
        "target_moisture_wb",
        None,
        "target_moisture_wb is missing; readings need a target to project to.",
    )
    trough = wither.Trough(**data.trough.model_dump(exclude_none=True))
    load = _load(data)
    result = wither.simulate(trough, load)
    out = Output(course=_course(result), sources=list(result.sources), warnings=[*result.warnings])
    out.warnings += _too_late(data)
    target = data.target_moisture_wb
    if target is not None:
        found = wither.aim(trough, load, target, data.latest_h)
        out.settings = _settings(found)
        out.projection = _finish(_projection(data, trough, load, target))
    return out


def _too_late(data: Input) -> list[str]:
    """What was set for an hour at which the run is over, and so does nothing."""
    late = [f"reversal_h {h:g}" for h in data.reversal_h if h >= data.duration_h]
    late += [f"fan_off_h {a:g} to {b:g}" for a, b in data.fan_off_h if a >= data.duration_h]
    if not late:
        return []
    return [f"After the end at {data.duration_h:g} h and so without use: {', '.join(late)}."]


def _load(data: Input) -> WitherRun:
    from wareleaf.stages import wither

    hours = data.air_time_h
    if hours is None:
        hours = [float(h) for h in range(len(data.dry_bulb_c))]
    limit = {} if data.air_max_c is None else {"air_max_c": data.air_max_c}
    return wither.WitherRun(
        leaf_id=data.leaf,
        mass_kg=data.mass_kg,
        moisture_wb=data.moisture_wb,
        moisture_wb_sd=data.moisture_wb_sd,
        surface_water_share=data.surface_water_share,
        air_time_h=tuple(hours),
        dry_bulb_c=tuple(data.dry_bulb_c),
        relative_humidity=tuple(data.relative_humidity),
        pressure_pa=tuple(data.pressure_pa),
        duration_h=data.duration_h,
        heating_k=tuple(data.heating_k),
        heat_by_rule=data.heat_by_rule,
        fan_off_h=tuple(data.fan_off_h),
        reversal_h=tuple(data.reversal_h),
        leaf_temperature_c=data.leaf_temperature_c,
        hours_since_plucking=data.hours_since_plucking,
        step_min=data.step_min,
        rate_factor=data.rate_factor,
        **limit,
    )


def _projection(
    data: Input, trough: StageTrough, load: WitherRun, target: float
) -> WitherProjection:
    from wareleaf.stages import common, wither

    readings = [common.StageReading(**r.model_dump()) for r in data.readings]
    return wither.project(trough, load, readings, target, data.target_sd)


def _course(result: WitherResult) -> Course:
    return Course(**{name: getattr(result, name) for name in Course.model_fields})


def _settings(found: Aim[WitherResult]) -> Settings:
    return Settings(
        reachable=found.reachable,
        reason=found.reason,
        duration_h=found.settings["duration_h"],
        heating_k=found.settings["heating_k"],
        course=_course(found.result),
    )


def _finish(told: WitherProjection) -> Finish:
    values = {name: getattr(told, name) for name in Finish.model_fields}
    for name in ("finish_h", "finish_sd_h", "wettest_finish_h"):
        if not math.isfinite(values[name]):
            values[name] = None
    return Finish(**values)
