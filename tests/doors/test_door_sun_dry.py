"""The sun-dry door: course, spread for a target, hour from readings, refusals by field."""

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

HOURS = np.arange(37)


def weather(**change):
    day = np.maximum(0.0, np.sin(np.pi * ((HOURS + 8) % 24 - 6) / 12.0))
    given = {
        "start": "2026-07-10T08:00",
        "latitude": 60.0,
        "longitude": 5.0,
        "utc_offset_h": 0.0,
        "dry_bulb_c": (14.0 + 6.0 * day).tolist(),
        "relative_humidity": (0.8 - 0.3 * day).tolist(),
        "wind_m_s": np.full(HOURS.size, 3.0).tolist(),
        "ghi_w_m2": (700.0 * day).tolist(),
    }
    return given | change


def load(**change):
    given = {
        "leaf": "sugar_kelp_blanched",
        "mass_kg": 300.0,
        "moisture_wb": 0.9,
        "ground": {"area_m2": 60.0},
        "weather": weather(),
    }
    return given | change


def test_a_plain_run_gives_the_course_only():
    out = doors.call("sun-dry", load())
    assert out["aim"] is None
    assert out["projection"] is None
    result = out["result"]
    assert result["moisture_wb_out"] < 0.5
    assert result["water_residual"] < 1e-6
    assert len(result["course_time_h"]) == len(result["course_moisture_wb"])
    assert result["heat_kwh"] == result["fuel_kg"] == 0.0
    assert out["sources"]
    assert any("no rain in it" in w for w in out["warnings"])


@pytest.mark.slow
def test_a_target_gives_the_spread_and_readings_the_hour():
    readings = [{"time_h": 3.0, "quantity": "mass_kg", "value": 190.0, "standard_uncertainty": 8.0}]
    out = doors.call("sun-dry", load(target_moisture_wb=0.25, readings=readings))
    assert out["aim"]["reachable"]
    assert out["aim"]["settings"]["area_m2"] > 0.0
    assert out["projection"]["finish_h"] > 3.0


@pytest.mark.slow
def test_a_target_out_of_reach_is_said_with_null_hours():
    damp = weather(relative_humidity=[0.95] * HOURS.size)
    out = doors.call("sun-dry", load(weather=damp, target_moisture_wb=0.08))
    assert not out["aim"]["reachable"]
    assert out["projection"]["finish_h"] is None


def test_readings_without_a_target_are_said_to_be_unused():
    readings = [{"time_h": 3, "quantity": "mass_kg", "value": 190, "standard_uncertainty": 8}]
    out = doors.call("sun-dry", load(readings=readings))
    assert any("without a target" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("data", "field"),
    [
        (load(leaf="oak"), "leaf"),
        (load(moisture_wb=1.2), "moisture_wb"),
        (load(weather=weather(wind_m_s=[1.0, 2.0])), "wind_m_s"),
        (load(weather=weather(start="noon")), "weather.start"),
        (load(weather=weather(ghi_w_m2=[float("nan")] * HOURS.size)), "weather.ghi_w_m2.0"),
        (load(ground={"area_m2": 0.0}), "area_m2"),
        (load(ground={"area_m2": 5.0, "faces": 4}), "faces"),
        (load(duration_h=99.0), "duration_h"),
        (load(target_moisture_wb=0.95), "target_moisture_wb"),
        (load(colour="green"), "colour"),
    ],
)
def test_bad_input_is_refused_by_field(data, field):
    with pytest.raises(BadInput) as refused:
        doors.call("sun-dry", data)
    assert field in [p.field for p in refused.value.problems]


def test_sun_while_the_sun_is_down_is_noticed():
    """The hours of another time zone: the weather's sun shines in the night of the place."""
    right = doors.call("sun-dry", load())
    assert not any("sun is down" in w for w in right["warnings"])
    wrong = doors.call("sun-dry", load(weather=weather(longitude=5.0, utc_offset_h=9.0)))
    said = [w for w in wrong["warnings"] if "sun is down" in w]
    assert "check start, utc_offset_h" in said[0]


def test_a_start_of_another_time_zone_is_refused():
    doors.call("sun-dry", load(weather=weather(start="2026-07-10T08:00+00:00")))
    with pytest.raises(BadInput, match="local standard time"):
        doors.call("sun-dry", load(weather=weather(start="2026-07-10T08:00+02:00")))
