"""The slab-dry door: wet bulb, hours to a moisture, an air that changes, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

BLADE = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "duration_h": 12,
    "dry_bulb_c": 50,
    "relative_humidity": 0.2,
}


def test_a_blade_is_cool_then_warm_and_reaches_its_moisture():
    out = doors.call("slab-dry", BLADE | {"target_moisture_wb": 0.2})
    assert 0.0 < out["constant_rate_h"] < out["hours_to_target"] < 12.0
    wet = [t for t, h in zip(out["leaf_c"], out["time_h"], strict=True)
           if 0.1 <= h < out["constant_rate_h"]]  # fmt: skip
    assert wet
    assert max(abs(t - out["wet_bulb_c"]) for t in wet) < 1.5
    assert out["leaf_c"][-1] > out["wet_bulb_c"] + 10.0
    assert out["water_residual"] < 1e-5
    assert out["energy_residual"] < 1e-4
    assert any("Chilton" in s for s in out["sources"])


def test_the_air_may_change_by_the_hour():
    series = {
        "time_h": [0, 6, 12],
        "dry_bulb_c": [30, 50, 50],
        "relative_humidity": [0.7, 0.2, 0.1],
    }
    out = doors.call("slab-dry", BLADE | series)
    steady = doors.call("slab-dry", BLADE)
    assert out["moisture_db"][60] > 1.2 * steady["moisture_db"][60]  # at 6 h the air was damper
    assert out["moisture_db"][-1] < steady["moisture_db"][-1]  # at 12 h it is drier
    assert out["equilibrium_wb"] < 0.1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"moisture_wb": 1.2}, "moisture_wb"),
        ({"leaf": "bracken"}, "leaf"),
        ({"dry_bulb_c": [50, 60]}, "dry_bulb_c"),
        ({"target_moisture_wb": 0.001}, "target_moisture_wb"),
        ({"target_moisture_wb": 0.95}, "target_moisture_wb"),
        ({"velocity_m_s": -1}, "velocity_m_s"),
        ({"shrinkage": 2}, "shrinkage"),
        ({"colour": "green"}, "colour"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as refused:
        doors.call("slab-dry", BLADE | change)
    assert refused.value.problems[0].field.startswith(field)
