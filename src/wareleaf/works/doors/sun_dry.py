"""Leaf in the sun on mats or racks: the course, how thick to spread, the hour it is there."""

from __future__ import annotations

import math
from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from wareleaf.works.doors import DoorInput, DoorOutput


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class SunGround(_Part):
    """Where the leaf lies."""

    area_m2: float = Field(description="Of mats or racks.")
    faces: int = Field(2, description="1 on mats, 2 on racks that air passes under.")
    height_m: float = Field(0.5, description="Over the ground.")
    cover_at_night: bool = True
    cover_in_rain: bool = True


class HourlyWeather(_Part):
    """Hourly values; the first is the moment the leaf is spread."""

    start: datetime = Field(
        description="Local standard time without summer time, like 2026-07-10T08:00."
    )
    latitude: float
    longitude: float
    utc_offset_h: float
    altitude_m: float = 0.0
    pressure_pa: float = 101325.0
    dry_bulb_c: list[float] = Field(min_length=2, max_length=600)
    relative_humidity: list[float] = Field(min_length=2, max_length=600)
    wind_m_s: list[float] = Field(min_length=2, max_length=600, description="At 10 m.")
    ghi_w_m2: list[float] = Field(
        min_length=2, max_length=600, description="Global horizontal, mean of the hour before."
    )
    rain_mm: list[float] = Field([], max_length=600, description="Of the hour before.")


class SunReading(_Part):
    """One reading of the load."""

    time_h: float = Field(description="Hours since it was spread.")
    quantity: str = Field(description="moisture_wb (mean of the layer) or mass_kg (whole load).")
    value: float
    standard_uncertainty: float


class Input(DoorInput):
    """A load and its weather; with a target also the spread for it, with readings the hour."""

    leaf: str = Field(description="Leaf profile id.")
    mass_kg: float
    moisture_wb: float
    ground: SunGround
    weather: HourlyWeather
    duration_h: float | None = Field(None, description="All the weather spans when left out.")
    target_moisture_wb: float | None = None
    readings: list[SunReading] = Field([], description="Readings so far, in time order.")
    moisture_wb_sd: float | None = Field(None, description="Of the leaf as spread (0.01).")


class SunCourse(_Part):
    """What a load comes to; series have one value a step."""

    duration_h: float
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    water_residual: float
    energy_residual: float
    leaf_temperature_max_c: float
    sun_kwh: float
    rain_kg: float
    taken_up_kg: float = Field(description="Water taken back from damp air, dew included.")
    driest_h: float
    driest_moisture_wb: float
    covered_h: float
    night_h: float
    load_kg_m2: float
    course_time_h: list[float]
    course_moisture_wb: list[float]
    course_leaf_c: list[float]
    course_covered: list[float]


class SunAim(_Part):
    """How thick to spread for the target."""

    reachable: bool
    reason: str
    settings: dict[str, float]


class SunProjection(_Part):
    """When it is there, from the readings; null hours when not in the time looked at."""

    finish_h: float | None
    finish_sd_h: float | None
    moisture_wb_now: float
    moisture_wb_now_sd: float
    curve_time_h: list[float]
    curve_moisture_wb: list[float]
    curve_low: list[float]
    curve_high: list[float]
    note: str


class Output(DoorOutput):
    """The course, and with a target the aim and the projection."""

    result: SunCourse
    aim: SunAim | None = None
    projection: SunProjection | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import sun_dry
    from wareleaf.stages.common import StageReading

    weather, ground = data.weather, data.ground
    _check_start(weather)
    sky = sun_dry.SunWeather(
        dry_bulb_c=tuple(weather.dry_bulb_c),
        relative_humidity=tuple(weather.relative_humidity),
        wind_m_s=tuple(weather.wind_m_s),
        ghi_w_m2=tuple(weather.ghi_w_m2),
        day_of_year=float(weather.start.timetuple().tm_yday),
        clock_hour=weather.start.hour + weather.start.minute / 60.0,
        latitude=weather.latitude,
        longitude=weather.longitude,
        utc_offset_h=weather.utc_offset_h,
        altitude_m=weather.altitude_m,
        pressure_pa=weather.pressure_pa,
        rain_mm=tuple(weather.rain_mm),
    )
    place = sun_dry.Ground(**ground.model_dump())
    load = sun_dry.SunRun(
        leaf_id=data.leaf,
        mass_kg=data.mass_kg,
        moisture_wb=data.moisture_wb,
        weather=sky,
        duration_h=float(sky.hours) if data.duration_h is None else data.duration_h,
        moisture_wb_sd=data.moisture_wb_sd,
    )
    result = sun_dry.simulate(place, load)
    out = Output(
        result=SunCourse.model_validate(_fields(result, SunCourse)),
        sources=list(result.sources),
        warnings=list(result.warnings),
    )
    if data.target_moisture_wb is not None:
        found = sun_dry.aim(place, load, data.target_moisture_wb)
        out.aim = SunAim(reachable=found.reachable, reason=found.reason, settings=found.settings)
        readings = [StageReading(**r.model_dump()) for r in data.readings]
        told = sun_dry.project(place, load, readings, data.target_moisture_wb)
        fields = _fields(told, SunProjection)
        for name in ("finish_h", "finish_sd_h"):
            fields[name] = fields[name] if math.isfinite(fields[name]) else None
        out.projection = SunProjection.model_validate(fields)
    elif data.readings:
        out.warnings.append("Readings were given without a target_moisture_wb; they are not used.")
    return out


def _check_start(weather: HourlyWeather) -> None:
    """A start with an offset of its own must be of the place's standard time."""
    from wareleaf.measure import require

    own = weather.start.utcoffset()
    require(
        own is None or abs(own.total_seconds() / 3600.0 - weather.utc_offset_h) < 1e-9,
        "weather.start",
        weather.start.isoformat(),
        f"weather.start is {weather.start.isoformat()} and utc_offset_h is "
        f"{weather.utc_offset_h:g}; give it in local standard time, with that offset or none.",
    )


def _fields(found: object, model: type[BaseModel]) -> dict:
    """The fields of a result that a model has, tuples as lists."""
    values = {name: getattr(found, name) for name in model.model_fields}
    return {n: list(v) if isinstance(v, tuple) else v for n, v in values.items()}
