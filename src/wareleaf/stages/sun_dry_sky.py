"""Sun, sky and wind at a drying ground: the equations of FAO Irrigation and Drainage Paper 56.

Allen, Pereira, Raes, Smith 1998, chapter 3; equations from memory, held to the paper's worked
examples as reproduced (secondary). Angles in radians, radiation in W/m2 unless the name says MJ.
"""

from __future__ import annotations

import math

import numpy as np

from wareleaf.stages.common import Array

SOURCE = "Allen R.G. et al. (1998). FAO Irrigation and Drainage Paper 56, chapter 3 (from memory)"
SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
STEFAN_BOLTZMANN_W_M2_K4 = 5.670374e-8
SOLAR_CONSTANT_W_M2 = SOLAR_CONSTANT_MJ_M2_MIN * 1e6 / 60.0
_KELVIN = 273.15


def declination_rad(day_of_year: Array | float) -> Array:
    """Solar declination, equation 24."""
    return np.asarray(0.409 * np.sin(2.0 * np.pi * np.asarray(day_of_year) / 365.0 - 1.39))


def inverse_distance(day_of_year: Array | float) -> Array:
    """Inverse relative distance of the sun, equation 23."""
    return np.asarray(1.0 + 0.033 * np.cos(2.0 * np.pi * np.asarray(day_of_year) / 365.0))


def sunset_angle_rad(latitude: float, day_of_year: Array | float) -> Array:
    """Hour angle of sunset, equation 25; 0 in polar night and pi in polar day."""
    lat = math.radians(latitude)
    return np.asarray(
        np.arccos(np.clip(-math.tan(lat) * np.tan(declination_rad(day_of_year)), -1, 1))
    )


def daylight_h(latitude: float, day_of_year: Array | float) -> Array:
    """Hours of daylight, equation 34."""
    return np.asarray(24.0 / np.pi * sunset_angle_rad(latitude, day_of_year))


def _between(latitude: float, day_of_year: Array | float, first: Array, last: Array) -> Array:
    """Extraterrestrial radiation between two hour angles, MJ/m2, equations 21 and 28."""
    lat, tilt = math.radians(latitude), declination_rad(day_of_year)
    through = (last - first) * math.sin(lat) * np.sin(tilt) + math.cos(lat) * np.cos(tilt) * (
        np.sin(last) - np.sin(first)
    )
    minutes = 12.0 * 60.0 / np.pi
    return np.asarray(
        minutes * SOLAR_CONSTANT_MJ_M2_MIN * inverse_distance(day_of_year) * through, dtype=float
    )


def extraterrestrial_mj_m2_day(latitude: float, day_of_year: Array | float) -> Array:
    """Radiation above the air over a day, MJ/m2, equation 21."""
    sunset = sunset_angle_rad(latitude, day_of_year)
    return _between(latitude, day_of_year, -sunset, sunset)


def extraterrestrial_w_m2(latitude: float, day_of_year: Array, solar_hour: Array) -> Array:
    """Mean radiation above the air over the hour around a solar hour (noon 12), equation 28."""
    sunset = sunset_angle_rad(latitude, day_of_year)
    middle = np.pi / 12.0 * (np.asarray(solar_hour, dtype=float) - 12.0)
    middle = (middle + np.pi) % (2.0 * np.pi) - np.pi
    half = np.pi / 24.0
    first, last = (np.clip(middle + s * half, -sunset, sunset) for s in (-1.0, 1.0))
    return np.asarray(_between(latitude, day_of_year, first, last) * 1e6 / 3600.0, dtype=float)


def solar_hour(
    day_of_year: Array, clock_hour: Array, longitude: float, utc_offset_h: float
) -> Array:
    """Solar time from local standard time, equations 31 to 33 (longitude in degrees east)."""
    b = 2.0 * np.pi * (np.asarray(day_of_year) - 81.0) / 364.0
    season = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    return np.asarray(clock_hour + (longitude - 15.0 * utc_offset_h) / 15.0 + season, dtype=float)


def sunshine_radiation(extraterrestrial: Array | float, sunshine_share: Array | float) -> Array:
    """Radiation at the ground from hours of sunshine over daylight, equation 35."""
    return np.asarray((0.25 + 0.50 * np.asarray(sunshine_share)) * np.asarray(extraterrestrial))


def clear_sky_share(altitude_m: float) -> float:
    """Clear-sky radiation over that above the air, equation 37."""
    return 0.75 + 2e-5 * altitude_m


def sky_loss_w_m2(
    dry_bulb_c: Array | float, vapour_pressure_pa: Array | float, clearness: Array | float
) -> Array:
    """Net long-wave loss of a surface at air temperature, equation 39 with one temperature.

    ``clearness`` is measured over clear-sky radiation, 0.3 to 1.
    """
    kelvin = np.asarray(dry_bulb_c, dtype=float) + _KELVIN
    damp = 0.34 - 0.14 * np.sqrt(np.asarray(vapour_pressure_pa) / 1000.0)
    cloud = 1.35 * np.clip(clearness, 0.3, 1.0) - 0.35
    return np.asarray(STEFAN_BOLTZMANN_W_M2_K4 * kelvin**4 * damp * cloud, dtype=float)


def wind_at(height_m: float, wind_m_s: Array | float, measured_m: float = 10.0) -> Array:
    """Wind at a height over short grass from that measured at another, equation 47.

    The paper's law, 4.87/ln(67.8 z - 5.42) to 2 m, is a logarithm of height; it is used both ways
    down to 0.2 m.
    """
    here, there = (math.log(67.8 * z - 5.42) for z in (max(height_m, 0.2), measured_m))
    return np.asarray(np.asarray(wind_m_s) * here / there, dtype=float)


def clearness(radiation_w_m2: Array, clear_sky_w_m2: Array, hours: int = 24) -> Array:
    """Measured over clear-sky radiation in the day around each hour; 0.7 where the sun stays down.

    A day around, so that a night takes the sky of the days beside it.
    """
    window = np.ones(hours)
    seen = np.convolve(radiation_w_m2, window, "same")[: radiation_w_m2.size]
    clear = np.convolve(clear_sky_w_m2, window, "same")[: radiation_w_m2.size]
    some = clear > 100.0
    return np.where(some, np.clip(seen / np.where(some, clear, 1.0), 0.3, 1.0), 0.7)
