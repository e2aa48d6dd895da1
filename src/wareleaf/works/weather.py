"""Hourly weather of a typical year, and any stretch of it by date.

Times are local standard time, without summer time. Row k of a year is k o'clock, counted from
1 January 00:00. The files are read in `_weather_file`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure import BadInput
from wareleaf.works import _weather_file as file
from wareleaf.works._weather_file import HOURS_A_YEAR, NOMINAL_YEAR, Array

LONGEST_WINDOW_H = 10 * HOURS_A_YEAR
_SHIPPED = {"sand_point": "703165TY.csv", "greensboro": "723170TYA.CSV"}


@dataclass(frozen=True)
class Weather:
    """Hourly weather at a station.

    Parameters
    ----------
    station : str
        Name as the file has it.
    latitude, longitude, altitude_m : float
        Degrees north, degrees east, m.
    utc_offset_h : float
        Local standard time less UTC, hours.
    time : ndarray of datetime64[s]
        Local standard time; a typical year bears the year 2001.
    dry_bulb_c, relative_humidity, pressure_pa, wind_m_s, ghi_w_m2 : ndarray
        degC; 0 to 1; Pa; m/s; global horizontal radiation, W/m2, mean of the hour before.
    filled_hours : int
        Values that were missing in the file and interpolated, over all fields.
    """

    station: str
    latitude: float
    longitude: float
    altitude_m: float
    utc_offset_h: float
    time: NDArray[np.datetime64]
    dry_bulb_c: Array
    relative_humidity: Array
    pressure_pa: Array
    wind_m_s: Array
    ghi_w_m2: Array
    filled_hours: int = 0


def shipped_station(name: str) -> Path:
    """Path of a TMY3 file that comes with pvlib: ``sand_point`` (Alaska) or ``greensboro``."""
    if name not in _SHIPPED:
        raise BadInput(
            "station", name, f"station is {name!r}; it must be one of {', '.join(_SHIPPED)}."
        )
    from importlib.util import find_spec

    spec = find_spec("pvlib")
    if spec is None or spec.origin is None:
        raise BadInput(
            "station", name, "The weather files come with pvlib, which is not installed."
        )
    return Path(spec.origin).parent / "data" / _SHIPPED[name]


def weather_for(path: str | Path) -> Weather:
    """Read the typical year in an EPW or TMY3 file.

    Parameters
    ----------
    path : str or Path
        The file; the format is told by its first lines, not by its name.

    Returns
    -------
    Weather
        8760 hours from 1 January 00:00. 29 February is left out. Gaps of up to six hours are
        filled by straight lines.

    Raises
    ------
    BadInput
        No such file, empty, too large, not text in UTF-8, neither format, a column missing, an hour
        twice, or a longer gap.
    """
    path = Path(path)
    mtime_ns, size = file.stamp(path)
    return _year(path, mtime_ns, size)


@lru_cache(maxsize=8)
def _year(path: Path, mtime_ns: int, size: int) -> Weather:
    facts, columns, filled = file.read(path)
    start = np.datetime64(f"{NOMINAL_YEAR}-01-01T00:00:00", "s")
    time = start + np.arange(HOURS_A_YEAR) * np.timedelta64(3600, "s")
    for array in (time, *columns.values()):
        array.flags.writeable = False  # the cache hands the same arrays to everyone
    return Weather(**facts, time=time, **columns, filled_hours=filled)


def window(weather: Weather, start: datetime, hours: int) -> Weather:
    """Weather of a typical year laid on calendar dates.

    Parameters
    ----------
    weather : Weather
        A typical year from `weather_for`.
    start : datetime
        First moment. With a time zone it is turned into the station's standard time; without one
        it is taken as that. Between full hours values are interpolated.
    hours : int
        How many hourly values, 1 or more: ``start``, one hour later, and so on.

    Returns
    -------
    Weather
        Same month, day and hour of the typical year; 29 February shows the 28th again.

    Raises
    ------
    BadInput
        ``hours`` below 1 or above ten years, or ``weather`` is not a full year.
    """
    if weather.time.size != HOURS_A_YEAR:
        raise BadInput(
            "weather",
            int(weather.time.size),
            f"weather has {weather.time.size} hours; a window is cut from a year of 8760.",
        )
    if not 1 <= hours <= LONGEST_WINDOW_H:
        raise BadInput(
            "hours", hours, f"hours is {hours}; it must be from 1 to {LONGEST_WINDOW_H}."
        )
    if start.tzinfo is not None:
        zone = timezone(timedelta(hours=weather.utc_offset_h))
        start = start.astimezone(zone).replace(tzinfo=None)
    second = np.timedelta64(1, "s")
    time = np.datetime64(start, "s") + np.arange(hours) * 3600 * second
    full_hour: NDArray[np.datetime64] = time.astype("datetime64[h]")
    share = (time - full_hour) / (3600 * second)
    here = _index(full_hour)
    there = (here + 1) % HOURS_A_YEAR
    values: dict[str, Any] = {
        name: (1.0 - share) * getattr(weather, name)[here] + share * getattr(weather, name)[there]
        for name in file.FIELD_NAMES
    }
    return Weather(
        station=weather.station,
        latitude=weather.latitude,
        longitude=weather.longitude,
        altitude_m=weather.altitude_m,
        utc_offset_h=weather.utc_offset_h,
        time=time,
        filled_hours=0,
        **values,
    )


def _index(time: NDArray[np.datetime64]) -> Any:
    """Row of the typical year for each full hour."""
    months = time.astype("datetime64[M]")
    day = (time.astype("datetime64[D]") - months.astype("datetime64[D]")).astype(int)
    month = months.astype(int) % 12
    day = np.where((month == 1) & (day == 28), 27, day)  # 29 February
    hour = (time - time.astype("datetime64[D]")).astype(int)
    return file.day_of_year(month + 1, day + 1) * 24 + hour
