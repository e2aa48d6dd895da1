"""Read EPW and TMY3 files into the 8760 hours of a typical year.

pvlib reads the two open formats (chosen because it is the maintained open reader of both); it and
pandas are loaded on first use.

Both formats label an hour by its end: the row 01:00 is the observation at one o'clock, and its
radiation is the mean of the hour before. Here row k is k o'clock; the last row of the file
(24:00 on 31 December) becomes row 0.
"""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure import BadInput

Array = NDArray[np.float64]

HOURS_A_YEAR = 8760
MOST_BYTES = 50_000_000
LONGEST_GAP_H = 6  # longer gaps are refused: a straight line across a night is no weather
NOMINAL_YEAR = 2001  # not a leap year; stands for "typical"

# Field, columns in the file (EPW and TMY3 by pvlib's names), factor to our unit, lowest and highest
# believable value in our unit. The formats mark a missing value by 99.9, 999, 9999, 999999 or
# -9900, which all lie outside.
_FIELDS = (
    ("dry_bulb_c", "temp_air", "temp_air", 1.0, 1.0, -70.0, 65.0),
    ("relative_humidity", "relative_humidity", "relative_humidity", 0.01, 0.01, 0.0, 1.1),
    ("pressure_pa", "atmospheric_pressure", "pressure", 1.0, 100.0, 31_000.0, 120_000.0),
    ("wind_m_s", "wind_speed", "wind_speed", 1.0, 1.0, 0.0, 90.0),
    ("ghi_w_m2", "ghi", "ghi", 1.0, 1.0, 0.0, 1600.0),
)
FIELD_NAMES = tuple(row[0] for row in _FIELDS)


def stamp(path: Path) -> tuple[int, int]:
    """Time of change and size of a weather file that can be read, else `BadInput`."""
    try:
        stat = path.stat()
    except OSError as error:
        raise BadInput("path", str(path), f"There is no weather file {path}.") from error
    if not path.is_file():
        raise _bad(path, "is not a file; give an EPW or TMY3 file")
    if stat.st_size > MOST_BYTES:
        raise _bad(path, f"has {stat.st_size / 1e6:.0f} MB; a year of weather is under 50 MB")
    return stat.st_mtime_ns, stat.st_size


def read(path: Path) -> tuple[dict[str, Any], dict[str, Any], int]:
    """Station facts, columns of 8760 hours by field, and how many values were filled."""
    data, facts, begins, is_epw = _parse(path, _text(path))
    hour_of_year, keep = _hours_of_year(path, begins)
    columns = {}
    filled = 0
    for field, epw, tmy3, epw_factor, tmy3_factor, low, high in _FIELDS:
        name, factor = (epw, epw_factor) if is_epw else (tmy3, tmy3_factor)
        if name not in data.columns:
            raise _bad(path, f"lacks the column for {field} ({name})")
        values = np.full(HOURS_A_YEAR, np.nan)
        values[hour_of_year] = factor * _numbers(data[name])[keep]
        values[(values < low) | (values > high)] = np.nan
        columns[field], missing = _filled(path, field, values)
        filled += missing
    columns["relative_humidity"] = np.minimum(columns["relative_humidity"], 1.0)
    return facts, columns, filled


def _bad(path: Path, reason: str) -> BadInput:
    return BadInput("path", str(path), f"The weather file {path.name} {reason}.")


def _text(path: Path) -> str:
    raw = path.read_bytes()
    if not raw.strip():
        raise _bad(path, "is empty; give an EPW or TMY3 file")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad(path, "is not text in UTF-8; save it in that encoding") from error
    if "\0" in text:
        raise _bad(path, "is not text; give an EPW or TMY3 file, unpacked")
    return text.replace("\r\n", "\n")


def _parse(path: Path, text: str) -> tuple[Any, dict[str, Any], Any, bool]:
    """Table, station facts, beginning of each row's hour, and whether it is EPW."""
    first, _, rest = text.partition("\n")
    is_epw = first.upper().startswith("LOCATION,")
    if not is_epw and not rest.startswith("Date (MM/DD/YYYY)"):
        raise _bad(
            path,
            "is neither EPW (first line LOCATION,...) nor TMY3 (second line starting "
            "'Date (MM/DD/YYYY)')",
        )
    import pandas as pd
    from pvlib import iotools

    try:
        if is_epw:
            data, raw = iotools.read_epw(io.StringIO(text))
            name = raw["city"]
            begins = data.index.tz_localize(None)  # pvlib labels EPW hours by their beginning
        else:
            data, raw = iotools.read_tmy3(
                io.StringIO(text), map_variables=True, coerce_year=NOMINAL_YEAR
            )
            name = raw["Name"]
            begins = data.index.tz_localize(None) - pd.Timedelta(hours=1)
        meta = {
            "station": " ".join(str(name).strip(' "').split()).title(),
            "latitude": float(raw["latitude"]),
            "longitude": float(raw["longitude"]),
            "altitude_m": float(raw["altitude"]),
            "utc_offset_h": float(raw["TZ"]),
        }
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        kind = "EPW" if is_epw else "TMY3"
        why = (str(error).splitlines() or [type(error).__name__])[0]
        raise _bad(path, f"starts like {kind} but cannot be read as such ({why})") from error
    return data, meta, begins, is_epw


def _hours_of_year(path: Path, begins: Any) -> tuple[Any, Any]:
    """Hour of the typical year of each row, and which rows are kept (29 February is not)."""
    keep = np.asarray(~((begins.month == 2) & (begins.day == 29)))
    kept = begins[keep]
    hour = (day_of_year(kept.month, kept.day) * 24 + kept.hour + 1) % HOURS_A_YEAR
    hour = np.asarray(hour, dtype=np.int64)
    if hour.size == 0:
        raise _bad(path, "has no hours in it")
    counts = np.bincount(hour, minlength=HOURS_A_YEAR)
    if counts.max() > 1:
        twice = int(counts.argmax())
        raise _bad(path, f"has an hour twice ({_when(twice)}); give one typical year")
    return hour, keep


def day_of_year(month: Any, day: Any) -> Any:
    """Day of a year without 29 February, 0 to 364."""
    before = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    return before[np.asarray(month) - 1] + np.asarray(day) - 1


def _when(hour_of_year: int) -> str:
    return (datetime(NOMINAL_YEAR, 1, 1) + timedelta(hours=hour_of_year)).strftime("%d %b %H:00")


def _numbers(series: Any) -> Array:
    import pandas as pd

    return np.asarray(pd.to_numeric(series, errors="coerce"), dtype=np.float64)


def _filled(path: Path, field: str, values: Array) -> tuple[Array, int]:
    """Fill short gaps by straight lines across the turn of the year too; refuse long ones."""
    missing = np.isnan(values)
    count = int(missing.sum())
    if count == 0:
        return values, 0
    if count == HOURS_A_YEAR:
        raise _bad(path, f"has no usable value of {field}")
    good = np.flatnonzero(~missing)
    gaps = np.diff(np.append(good, good[0] + HOURS_A_YEAR)) - 1
    longest = int(gaps.max())
    if longest > LONGEST_GAP_H:
        start = int(good[gaps.argmax()] + 1) % HOURS_A_YEAR
        raise _bad(
            path,
            f"lacks {field} for {longest} hours from {_when(start)}; at most "
            f"{LONGEST_GAP_H} hours in a row can be filled",
        )
    hours = np.arange(HOURS_A_YEAR)
    return np.interp(hours, good, values[good], period=HOURS_A_YEAR), count
