"""The door of many runs: how the outcomes lie, and bad input."""

import json

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

BELT = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "residence_h": 2.5,
    "feed_kg_h": 300.0,
    "runs": 200,
    "dryer": {
        "area_m2": 40.0,
        "zones": [{"share": 1.0, "inlet_c": 60.0, "velocity_m_s": 1.0, "recirculated": 0.6}],
        "layers": 3,
        "steps": 10,
    },
}


def test_the_outcomes_lie_about_the_run_itself():
    out = doors.call("dryer-spread", BELT)
    json.dumps(out, allow_nan=False)
    alone = doors.call("dryer", {k: v for k, v in BELT.items() if k != "runs"})
    assert out["moisture_wb_low"] < alone["moisture_wb_out"] < out["moisture_wb_high"]
    assert out["moisture_wb_sd"] == pytest.approx(alone["moisture_wb_out_sd"], rel=0.2)
    assert out["heat_kwh_mean"] == pytest.approx(alone["heat_kwh"], rel=0.05)
    assert sum(out["counts"]) == out["runs"] == 200
    assert len(out["edges_wb"]) == len(out["counts"]) + 1
    assert out["water_residual"] < 1e-6
    assert out["sources"] == alone["sources"]


def test_a_known_feed_and_leaf_spread_less_and_a_limit_is_counted():
    wide = doors.call("dryer-spread", BELT)
    sure = BELT | {"moisture_wb_sd": 0.0, "rate_relative_sd": 0.0, "loading_relative_sd": 0.0}
    narrow = doors.call("dryer-spread", sure)
    assert narrow["moisture_wb_sd"] < 0.5 * wide["moisture_wb_sd"]
    half = doors.call("dryer-spread", BELT | {"limit_moisture_wb": wide["moisture_wb_median"]})
    assert half["over_limit_share"] == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"runs": 3}, "runs"),
        ({"runs": 50000}, "runs"),
        ({"feed_kg_h": 0.0}, "feed_kg_h"),
        ({"ambient_c": 70.0}, "ambient_c"),
        ({"cluster": "tcp://10.0.0.5:8786"}, "cluster"),
    ],
)
def test_bad_input_names_the_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("dryer-spread", BELT | change)
    assert field in [p.field for p in caught.value.problems]


def test_over_http_it_is_held_short():
    with pytest.raises(BadInput, match="over HTTP"):
        doors.call("dryer-spread", BELT | {"runs": 2001}, from_afar=True)
