"""The door of the tunnel dryer: the run, the time for a target, and bad input."""

import json

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

TUNNEL = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.88,
    "residence_h": 6.0,
    "feed_kg_h": 60.0,
    "ambient_c": 10.0,
    "tunnel": {
        "tray_area_m2": 250.0,
        "free_area_m2": 1.5,
        "inlet_c": 60.0,
        "velocity_m_s": 3.0,
        "recirculated": 0.6,
        "heater": {"kind": "direct", "fuel": "lpg", "efficiency": 0.95},
    },
}


def changed(**more):
    return TUNNEL | {"tunnel": TUNNEL["tunnel"] | more}


def test_a_tunnel_run():
    out = doors.call("dryer-tunnel", TUNNEL)
    json.dumps(out, allow_nan=False)
    assert out["reachable"] is None
    assert out["moisture_wb_out_sd"] > 0.0
    assert out["mass_out_kg"] + out["water_removed_kg"] == pytest.approx(60.0)
    assert max(out["water_residual"], out["energy_residual"]) < 1e-6
    assert out["truck_h"] == pytest.approx(0.6)
    curves = ("curve_time_h", "curve_moisture_wb", "curve_leaf_c", "curve_air_c")
    assert {len(out[c]) for c in curves} == {49}
    burned = out["fuel_kg"]
    assert out["supply"]["combustion_water_kg"] == pytest.approx(1.634 * burned)
    assert out["supply"]["combustion_co2_kg"] == pytest.approx(2.994 * burned)
    assert any("carbon monoxide" in w for w in out["warnings"])


def test_with_the_air_the_dry_end_is_cooler():
    ends = [
        doors.call("dryer-tunnel", changed(flow=f))["curve_leaf_c"][-1] for f in ("co", "counter")
    ]
    assert ends[0] < ends[1]


@pytest.mark.slow
def test_a_target_asks_for_the_time():
    out = doors.call("dryer-tunnel", TUNNEL | {"target_moisture_wb": 0.12})
    assert out["reachable"] is True
    assert out["moisture_wb_out"] == pytest.approx(0.12, abs=1e-5)
    assert out["settings"]["residence_h"] == pytest.approx(out["curve_time_h"][-1])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (changed(inlet_c=20.0) | {"target_moisture_wb": 0.05, "feed_kg_h": 5.0}, "however long"),
        (changed(time_min_h=20.0) | {"target_moisture_wb": 0.2, "feed_kg_h": 300.0}, "over-full"),
        (TUNNEL | {"target_moisture_wb": 0.1, "feed_kg_h": 300.0}, "trays are full"),
        (changed(time_max_h=0.5) | {"target_moisture_wb": 0.1}, "longest time"),
    ],
)
def test_out_of_reach_is_an_answer_with_its_reason(change, said):
    out = doors.call("dryer-tunnel", change)
    assert out["reachable"] is False
    assert said in out["reason"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"feed_kg_h": 0.0}, "feed_kg_h"),
        ({"ambient_c": 59.0, "tunnel": changed(inlet_c=40.0)["tunnel"]}, "inlet_c"),
        ({"tunnel": changed(flow="across")["tunnel"]}, "tunnel.flow"),
        ({"tunnel": changed(zones=[])["tunnel"]}, "tunnel.zones"),
        ({"tunnel": changed(time_min_h=5.0, time_max_h=1.0)["tunnel"]}, "time_max_h"),
        ({"target_moisture_wb": 0.95}, "target_moisture_wb"),
        ({"leaf": "oak"}, "leaf"),
    ],
)
def test_bad_input_names_the_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("dryer-tunnel", TUNNEL | change)
    assert field in [p.field for p in caught.value.problems]
