"""What sun drying is told and what it answers: the ground, the weather, the load, the result."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from wareleaf import leaf
from wareleaf.measure import BadInput
from wareleaf.stages import sun_dry_sky as sky
from wareleaf.stages.common import Array, StageResult, cite, finite, stage_figures

LONGEST_H = 24.0 * 21
_SECONDS = 3600.0
_MOONLIT_W_M2 = 20.0  # less is twilight or a meter's zero


@cache
def number(name: str) -> float:
    """A figure of ``data/sun_dry.csv``."""
    return stage_figures("sun_dry")[name].value


@dataclass(frozen=True)
class Ground:
    """Where leaf lies out of doors.

    Parameters
    ----------
    area_m2 : float
        Of mats or racks.
    faces : int
        1 on mats, 2 on racks and nets that air passes under.
    height_m : float
        Over the ground; wind falls towards it.
    cover_at_night, cover_in_rain : bool
        The rule: covered or carried in. Covered leaf has neither sun, sky, rain nor wind.
    """

    area_m2: float
    faces: int = 2
    height_m: float = 0.5
    cover_at_night: bool = True
    cover_in_rain: bool = True

    def __post_init__(self) -> None:
        """Refuse what cannot be a drying ground."""
        finite("area_m2", self.area_m2, 0.0, 1e6, "m2", above=True)
        finite("height_m", self.height_m, 0.0, 10.0, "m")
        if self.faces not in (1, 2):
            raise BadInput(
                "faces", self.faces, f"faces is {self.faces}; it must be 1 (mat) or 2 (rack)."
            )


@dataclass(frozen=True)
class SunWeather:
    """Hourly weather; the first value is the moment the leaf is spread.

    Parameters
    ----------
    dry_bulb_c, relative_humidity, wind_m_s : tuple of float
        On the hour; wind at 10 m.
    ghi_w_m2 : tuple of float
        Global horizontal radiation, mean of the hour before.
    rain_mm : tuple of float
        Of the hour before; empty when not known.
    day_of_year, clock_hour : float
        At the first value, local standard time.
    latitude, longitude, utc_offset_h, altitude_m, pressure_pa : float
        Of the place, degrees north and east.
    """

    dry_bulb_c: tuple[float, ...]
    relative_humidity: tuple[float, ...]
    wind_m_s: tuple[float, ...]
    ghi_w_m2: tuple[float, ...]
    day_of_year: float
    clock_hour: float
    latitude: float
    longitude: float
    utc_offset_h: float
    altitude_m: float = 0.0
    pressure_pa: float = 101325.0
    rain_mm: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse series that do not match and values that cannot be weather."""
        hours = len(self.dry_bulb_c)
        for name in ("relative_humidity", "wind_m_s", "ghi_w_m2", "rain_mm"):
            given = len(getattr(self, name))
            if given != hours and not (name == "rain_mm" and given == 0):
                raise BadInput(
                    name, given, f"{name} has {given} hours and dry_bulb_c {hours}; give as many."
                )
        if not 2 <= hours <= LONGEST_H + 1:
            raise BadInput(
                "dry_bulb_c", hours, f"dry_bulb_c has {hours} hours; give 2 to {LONGEST_H + 1:.0f}."
            )
        for name, low, high in _RANGES:
            for value in getattr(self, name):
                finite(name, value, low, high)
        finite("day_of_year", self.day_of_year, 1.0, 366.0)
        finite("clock_hour", self.clock_hour, 0.0, 24.0, "h")
        finite("latitude", self.latitude, -90.0, 90.0)
        finite("longitude", self.longitude, -180.0, 180.0)
        finite("utc_offset_h", self.utc_offset_h, -12.0, 14.0, "h")
        finite("altitude_m", self.altitude_m, -430.0, 6000.0, "m")
        finite("pressure_pa", self.pressure_pa, 45e3, 110e3, "Pa")

    @property
    def hours(self) -> int:
        """Hours the series spans."""
        return len(self.dry_bulb_c) - 1

    def clear_sky_w_m2(self) -> Array:
        """Clear-sky radiation of the hour before each value (FAO 56, equations 28 and 37)."""
        clock: Array = self.clock_hour - 0.5 + np.arange(self.hours + 1, dtype=np.float64)
        day: Array = np.floor(self.day_of_year + clock / 24.0)
        of_day: Array = np.mod(clock, 24.0)
        sun = sky.solar_hour(day, of_day, self.longitude, self.utc_offset_h)
        above = sky.extraterrestrial_w_m2(self.latitude, day, sun)
        return sky.clear_sky_share(self.altitude_m) * above

    def sun_at_night_h(self) -> float | None:
        """First hour with sun though it is down there for an hour on either side; None: never."""
        clear = np.concatenate([[0.0], self.clear_sky_w_m2(), [0.0]])
        lit = np.maximum(np.maximum(clear[:-2], clear[1:-1]), clear[2:])
        wrong = np.flatnonzero((np.asarray(self.ghi_w_m2) > _MOONLIT_W_M2) & (lit <= 0.0))
        return float(wrong[0]) if wrong.size else None


_RANGES = (
    ("dry_bulb_c", -25.0, 55.0),
    ("relative_humidity", 0.0, 1.0),
    ("wind_m_s", 0.0, 60.0),
    ("ghi_w_m2", 0.0, 1500.0),
    ("rain_mm", 0.0, 400.0),
)


@dataclass(frozen=True)
class SunRun:
    """A load spread evenly over the ground.

    Parameters
    ----------
    leaf_id : str
        Profile.
    mass_kg, moisture_wb : float
        As spread.
    weather : SunWeather
        From the moment it is spread.
    duration_h : float
        How long it lies; at most what the weather spans.
    step_min : float
        Longest time step.
    moisture_wb_sd, load_relative_sd, sun_relative_sd, outer_relative_sd : float or None
        Spreads; None takes those of ``data/sun_dry.csv``.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    weather: SunWeather
    duration_h: float
    step_min: float = 10.0
    moisture_wb_sd: float | None = None
    load_relative_sd: float | None = None
    sun_relative_sd: float | None = None
    outer_relative_sd: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be spread."""
        leaf.profile(self.leaf_id)
        finite("mass_kg", self.mass_kg, 0.0, 1e6, "kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.02, 0.97)
        finite("duration_h", self.duration_h, 0.0, float(self.weather.hours), "h", above=True)
        finite("step_min", self.step_min, 0.5, 30.0, "min")
        for name in SPREADS[1:]:
            given = getattr(self, name)
            if given is not None:
                finite(name, given, 0.0, 0.5)

    def spread(self, name: str) -> float:
        """One of the spreads, its default when not given."""
        given = getattr(self, name)
        return float(number(f"spread.{name}") if given is None else given)

    def lasting(self, duration_h: float) -> SunRun:
        """The same load for another time."""
        return replace(self, duration_h=duration_h)


SPREADS = ("rate", "moisture_wb_sd", "load_relative_sd", "sun_relative_sd", "outer_relative_sd")


@dataclass(frozen=True)
class SunResult(StageResult):
    """What became of the load, with the fields of every stage.

    Parameters
    ----------
    sun_kwh : float
        Sun that the leaf took up; ``heat_kwh``, ``electricity_kwh`` and ``fuel_kg`` are 0.
    rain_kg, taken_up_kg : float
        Water that fell on it; water that it took from damp air, dew included.
    driest_h, driest_moisture_wb : float
        When to take it in, and how wet it is then.
    covered_h, night_h : float
        Hours under cover; hours of night.
    load_kg_m2 : float
        As spread.
    course_* : tuple of float
        One value a step; ``course_covered`` is 1 under cover.
    """

    sun_kwh: float
    rain_kg: float
    taken_up_kg: float
    driest_h: float
    driest_moisture_wb: float
    covered_h: float
    night_h: float
    load_kg_m2: float
    course_time_h: tuple[float, ...]
    course_moisture_wb: tuple[float, ...]
    course_leaf_c: tuple[float, ...]
    course_covered: tuple[float, ...]


def sources_of(run: SunRun) -> tuple[str, ...]:
    """Citations behind a result."""
    figures = stage_figures("sun_dry").values()
    profile = leaf.profile(run.leaf_id)
    rate = leaf.source_of(profile.figure("wither.rate_per_h")).cite()
    return (sky.SOURCE, *cite(figures), f"Rate constant of {profile.id}: {rate}")
