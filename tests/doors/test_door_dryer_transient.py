"""The door of a belt in time: start-up, gaps in the feed, and bad input."""

import json

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

BELT = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "residence_h": 2.5,
    "feed_kg_h": 300.0,
    "hours": 8.0,
    "dryer": {
        "area_m2": 40.0,
        "zones": [
            {"share": 0.6, "inlet_c": 70.0, "velocity_m_s": 1.0, "recirculated": 0.6},
            {"share": 0.4, "inlet_c": 60.0, "velocity_m_s": 0.8, "recirculated": 0.7},
        ],
        "layers": 4,
        "steps": 15,
    },
}


def test_a_start_up_settles_after_the_belt_time():
    out = doors.call("dryer-transient", BELT)
    json.dumps(out, allow_nan=False)
    assert max(out["water_residual"], out["energy_residual"]) < 1e-9
    assert out["moisture_wb_out"][-1] == pytest.approx(out["moisture_wb_steady"], rel=1e-3)
    assert out["settled_h"] == pytest.approx(2.5, abs=0.4)
    series = ("product_kg_h", "moisture_wb_out", "load", "curve_leaf_max_c")
    assert {len(out[s]) for s in series} == {len(out["time_h"])}
    assert [len(zone) for zone in out["exhaust_c"]] == [len(out["time_h"])] * 2
    assert out["time_h"][-1] == pytest.approx(8.0, abs=0.1)
    assert any("warming-up" in w for w in out["warnings"])
    alone = doors.call("dryer", {k: v for k, v in BELT.items() if k != "hours"})
    assert out["moisture_wb_steady"] == pytest.approx(alone["moisture_wb_out"], rel=1e-9)
    assert out["leaf_temperature_max_c"] <= 70.0 + 1e-6


def test_a_gap_comes_out_a_belt_time_later_and_long_series_are_thinned():
    out = doors.call(
        "dryer-transient",
        BELT
        | {
            "running": True,
            "gaps": [{"start_h": 1.0, "end_h": 2.0}],
            "hours": 60.0,
            "tolerance_wb": 0.0005,
        },
    )
    assert len(out["time_h"]) <= 400
    empty = [t for t, load in zip(out["time_h"], out["load"], strict=True) if load < 0.5]
    assert 3.3 < min(empty) < max(empty) < 4.8
    assert out["dry_kg"] > 0.0
    assert out["settled_h"] > 4.4
    wet = out["moisture_wb_steady"] > 0.138  # what this leaf keeps at
    assert (out["unstorable_kg"] > 0.0) == wet


def test_too_short_a_look_has_not_settled():
    assert doors.call("dryer-transient", BELT | {"hours": 1.0})["settled_h"] is None


def test_a_direct_flame_is_taken():
    heater = {"kind": "direct", "fuel": "lpg", "efficiency": 0.95}
    out = doors.call("dryer-transient", BELT | {"dryer": BELT["dryer"] | {"heater": heater}})
    plain = doors.call("dryer-transient", BELT)
    assert out["moisture_wb_steady"] > plain["moisture_wb_steady"]
    assert out["moisture_wb_out"][-1] == pytest.approx(out["moisture_wb_steady"], rel=1e-3)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"hours": 0.0}, "hours"),
        ({"hours": 300.0}, "hours"),
        ({"hours": 240.0, "residence_h": 0.05}, "hours"),
        ({"gaps": [{"start_h": 3.0, "end_h": 2.0}]}, "gaps"),
        ({"gaps": [{"start_h": 9.0, "end_h": 10.0}]}, "gaps"),
        ({"dryer": BELT["dryer"] | {"kind": "trays"}}, "dryer.kind"),
        ({"feed_kg_h": 0.0}, "feed_kg_h"),
    ],
)
def test_bad_input_names_the_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("dryer-transient", BELT | change)
    assert field in [p.field for p in caught.value.problems]
