"""Sun, sky and wind against the worked examples of FAO-56 (reproduced in PyETo's tests, secondary).

Tolerances are half of the last printed digit unless said.
"""

from datetime import datetime

import numpy as np
import pytest
from sun_weathers import real

from wareleaf.stages import sun_dry_sky as sky


def test_example_8_extraterrestrial_radiation():
    """20 S, 3 September (day 246): dr 0.985, delta 0.120, ws 1.527, Ra 32.2 MJ/(m2 d)."""
    assert sky.inverse_distance(246.0) == pytest.approx(0.985, abs=5e-4)
    assert sky.declination_rad(246.0) == pytest.approx(0.120, abs=5e-4)
    assert sky.sunset_angle_rad(-20.0, 246.0) == pytest.approx(1.527, abs=5e-4)
    assert sky.extraterrestrial_mj_m2_day(-20.0, 246.0) == pytest.approx(32.2, abs=0.05)


def test_example_9_daylight():
    assert sky.daylight_h(-20.0, 246.0) == pytest.approx(11.7, abs=0.05)


def test_example_10_radiation_from_sunshine():
    """Rio de Janeiro, 22.9 S, 15 May, 7.1 h: Ra 25.1, N 10.9, Rs 14.5 (14.45)."""
    above = sky.extraterrestrial_mj_m2_day(-22.9, 135.0)
    assert above == pytest.approx(25.1, abs=0.05)
    daylight = sky.daylight_h(-22.9, 135.0)
    assert daylight == pytest.approx(10.9, abs=0.05)
    assert sky.sunshine_radiation(above, 7.1 / daylight) == pytest.approx(14.5, abs=0.06)


def test_example_11_net_long_wave():
    """Tmax 25.1, Tmin 19.1, ea 2.1 kPa, Rs 14.5, Rso 18.8: 3.5 MJ/(m2 d).

    The paper takes the mean of the fourth powers of the two temperatures; so does the test.
    """
    share = 14.5 / 18.8
    both = [float(sky.sky_loss_w_m2(t, 2100.0, share)) for t in (25.1, 19.1)]
    assert np.mean(both) * 86400.0 / 1e6 == pytest.approx(3.5, abs=0.05)


def test_example_14_wind_at_two_metres():
    """3.2 m/s at 10 m: 2.4 at 2 m."""
    assert sky.wind_at(2.0, 3.2) == pytest.approx(2.4, abs=0.05)
    assert sky.wind_at(10.0, 3.2) == pytest.approx(3.2)
    assert sky.wind_at(0.5, 3.2) < sky.wind_at(2.0, 3.2)


@pytest.mark.parametrize("latitude", [-60.0, -20.0, 0.0, 36.0, 69.0])
@pytest.mark.parametrize("day", [10, 172, 246, 355])
def test_the_hours_of_a_day_add_up_to_the_day(latitude, day):
    hours = np.arange(24) + 0.5
    total = sky.extraterrestrial_w_m2(latitude, np.full(24, float(day)), hours).sum() * 3600.0 / 1e6
    assert total == pytest.approx(float(sky.extraterrestrial_mj_m2_day(latitude, day)), abs=1e-9)


def test_polar_night_has_no_sun_and_polar_day_no_sunset():
    assert sky.extraterrestrial_mj_m2_day(75.0, 355.0) == pytest.approx(0.0, abs=1e-9)
    assert sky.daylight_h(75.0, 172.0) == pytest.approx(24.0)


def test_solar_noon_of_a_place_on_its_meridian_is_near_twelve():
    """On the zone's own meridian the equation of time alone is left, at most 17 minutes."""
    days = np.arange(1.0, 366.0)
    off = sky.solar_hour(days, np.full(days.size, 12.0), -75.0, -5.0) - 12.0
    assert np.abs(off).max() < 17.5 / 60.0
    assert sky.solar_hour(81.0, 12.0, -80.0, -5.0) < 12.0  # west of it the sun comes later


def test_measured_sun_of_a_station_stays_near_or_below_clear_sky():
    """Greensboro, 20 June days of TMY3: the best day is 85 to 105 % of FAO's clear sky."""
    weather = real("greensboro", datetime(2026, 6, 1, 0), 24 * 20)
    measured, clear = np.array(weather.ghi_w_m2), weather.clear_sky_w_m2()
    daily = [measured[1 + 24 * d : 25 + 24 * d].sum() for d in range(20)]
    most = [clear[1 + 24 * d : 25 + 24 * d].sum() for d in range(20)]
    ratio = np.array(daily) / np.array(most)
    assert ratio.max() < 1.05
    assert ratio.max() > 0.85


def test_clock_and_sun_agree_at_a_station():
    """The middles of measured and computed radiation of clear days differ by under 20 minutes."""
    weather = real("greensboro", datetime(2026, 6, 1, 0), 24 * 20)
    measured, clear = np.array(weather.ghi_w_m2), weather.clear_sky_w_m2()
    off = []
    for d in range(20):
        part = slice(1 + 24 * d, 25 + 24 * d)
        if measured[part].sum() > 0.85 * clear[part].sum():
            hours = np.arange(24)
            off.append(
                np.average(hours, weights=measured[part]) - np.average(hours, weights=clear[part])
            )
    assert off
    assert abs(np.median(off)) < 20.0 / 60.0


def test_clearness_is_bounded_and_a_night_takes_its_days():
    clear = np.tile(np.maximum(0.0, 800.0 * np.sin(np.pi * (np.arange(24) - 6) / 12)), 3)
    found = sky.clearness(0.6 * clear, clear)
    assert found == pytest.approx(np.full(72, 0.6))
    assert sky.clearness(np.zeros(48), np.zeros(48)) == pytest.approx(np.full(48, 0.7))
