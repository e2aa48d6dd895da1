"""Weather for the sun-drying tests: made-up days, and real hours of a shipped station."""

from datetime import datetime

import numpy as np

from wareleaf.stages.sun_dry import SunWeather
from wareleaf.works.weather import shipped_station, weather_for, window


def still(hours=24, dry_bulb_c=25.0, rh=0.5, wind=2.0, ghi=0.0, rain=(), start=0.0):
    """The same hour over and over."""
    n = hours + 1
    series = [tuple(np.broadcast_to(v, n).astype(float)) for v in (dry_bulb_c, rh, wind, ghi)]
    rain = tuple(np.broadcast_to(rain, n).astype(float)) if np.size(rain) else ()
    return SunWeather(*series, 180.0, start, 36.0, -80.0, -5.0, 270.0, 101325.0, rain)


def real(name, start: datetime, hours):
    """Hours of a typical year (TMY3, as pvlib ships it)."""
    w = window(weather_for(shipped_station(name)), start, hours + 1)
    return SunWeather(
        tuple(w.dry_bulb_c),
        tuple(w.relative_humidity),
        tuple(w.wind_m_s),
        tuple(w.ghi_w_m2),
        float(start.timetuple().tm_yday),
        float(start.hour),
        w.latitude,
        w.longitude,
        w.utc_offset_h,
        w.altitude_m,
        float(np.mean(w.pressure_pa)),
    )
