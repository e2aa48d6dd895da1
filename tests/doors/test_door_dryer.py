"""The dryer door: documented fields in, a dryer run out."""

import json

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

BELT = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "residence_h": 3.0,
    "feed_kg_h": 280.0,
    "ambient_c": 10.0,
    "dryer": {
        "area_m2": 60.0,
        "zones": [
            {"share": 0.4, "inlet_c": 58.0, "velocity_m_s": 1.0, "recirculated": 0.6},
            {
                "share": 0.35,
                "inlet_c": 56.0,
                "velocity_m_s": 0.8,
                "recirculated": 0.7,
                "direction": "down",
            },
            {"share": 0.15, "inlet_c": 50.0, "velocity_m_s": 0.6, "remix": True},
            {"share": 0.1, "velocity_m_s": 0.6},
        ],
        "heater": {"fuel": "lpg", "efficiency": 0.9},
    },
}


def test_a_belt_run():
    out = doors.call("dryer", BELT)
    json.dumps(out, allow_nan=False)
    assert 0.0 < out["moisture_wb_out"] < 0.9
    assert out["moisture_wb_out_sd"] > 0.0
    assert len(out["zones"]) == 4
    assert out["zones"][3]["inlet_c"] == 10.0
    assert out["mass_out_kg"] + out["water_removed_kg"] == pytest.approx(280.0)
    assert max(out["water_residual"], out["energy_residual"]) < 1e-6
    assert out["fuel_kg"] == pytest.approx(3.6 * out["heat_kwh"] / 0.9 / 46.0)
    assert len(out["curve_time_h"]) == len(out["curve_moisture_wb"]) == len(out["curve_leaf_c"])
    assert out["curve_time_h"][-1] == pytest.approx(3.0)
    assert any("Geankoplis" in s for s in out["sources"])
    assert out["reachable"] is None


def test_a_target_and_readings():
    given = BELT | {
        "target_moisture_wb": 0.12,
        "readings": [
            {"quantity": "moisture_wb_out", "value": 0.15, "standard_uncertainty": 0.01},
            {"quantity": "exhaust_c_1", "value": 52.0, "standard_uncertainty": 1.0},
        ],
    }
    out = doors.call("dryer", given)
    assert out["reachable"] is True
    assert out["moisture_wb_out"] == pytest.approx(0.12, abs=3e-4)
    assert out["settings"]["residence_h"] > 0.0
    assert out["projection"]["moisture_wb_out"] == pytest.approx(0.15, abs=0.03)
    assert out["projection"]["residence_h"] > 0.0


def test_trays_and_fluid_bed():
    trays = BELT | {
        "mass_kg": 300.0,
        "dryer": BELT["dryer"] | {"kind": "trays"},
    }
    assert doors.call("dryer", trays)["duration_h"] == 3.0
    bed = {
        "leaf": "tea_black",
        "moisture_wb": 0.62,
        "residence_h": 0.33,
        "feed_kg_h": 300.0,
        "dryer": {
            "kind": "fluid_bed",
            "area_m2": 5.0,
            "mixing": "mixed",
            "zones": [{"share": 0.5, "inlet_c": 120.0, "velocity_m_s": 1.5}] * 2,
        },
    }
    out = doors.call("dryer", bed)
    assert out["minimum_fluidisation_m_s"] == pytest.approx(0.7, abs=0.1)


def test_a_target_out_of_reach_is_an_answer():
    out = doors.call("dryer", BELT | {"target_moisture_wb": 0.004})
    assert out["reachable"] is False
    assert "driest" in out["reason"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"leaf": "oak"}, "leaf"),
        ({"residence_h": -1.0}, "residence_h"),
        ({"feed_kg_h": 0.0}, "feed_kg_h"),
        ({"colour": "green"}, "colour"),
        ({"dryer": BELT["dryer"] | {"mixing": "plug"}}, "mixing"),
        ({"dryer": BELT["dryer"] | {"heater": {"fuel": "peat"}}}, "fuel"),
        ({"dryer": BELT["dryer"] | {"zones": BELT["dryer"]["zones"][:2]}}, "zones"),
        (
            {"readings": [{"quantity": "exhaust_c", "value": 50.0, "standard_uncertainty": 1.0}]},
            "target_moisture_wb",
        ),
    ],
)
def test_bad_input_names_the_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("dryer", BELT | change)
    assert field in [p.field for p in caught.value.problems]


def test_a_heat_pump_and_its_coil_come_through_the_door():
    zone = {"inlet_c": 45.0, "velocity_m_s": 0.8, "recirculated": 0.97, "coil_c": 20.0}
    given = BELT | {
        "dryer": {
            "area_m2": 60.0,
            "zones": [zone | {"share": 1.0, "coil_share": 0.3}],
            "heater": {"kind": "heat_pump", "fuel": None, "carnot_fraction": 0.45},
        }
    }
    out = doors.call("dryer", given)
    assert out["supply"]["kind"] == "heat_pump"
    assert out["supply"]["cop"] == pytest.approx(0.45 * (45 + 6 + 273.15) / (45 - 20 + 12))
    assert out["zones"][0]["condensed_kg"] > 0.0
    assert out["fuel_kg"] == 0.0
    assert out["water_residual"] < 1e-6
    assert out["energy_residual"] < 1e-6
