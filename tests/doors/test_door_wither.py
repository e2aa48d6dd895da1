"""The wither door: a course, settings for a target, a projection from readings, plain errors."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

LOAD = {
    "mass_kg": 1220.0,
    "moisture_wb": 0.78,
    "dry_bulb_c": [24.0],
    "relative_humidity": [0.75],
}


def test_a_load_and_its_air_are_enough():
    answer = doors.call("wither", LOAD)
    course = answer["course"]
    dry_out = course["mass_out_kg"] * (1.0 - course["moisture_wb_out"])
    assert dry_out == pytest.approx(1220.0 * 0.22)
    assert course["water_residual"] < 1e-6
    assert course["energy_residual"] < 1e-6
    assert len(course["time_h"]) == len(course["moisture_mean_wb"]) == len(course["air_out_c"])
    assert answer["settings"] is None and answer["projection"] is None
    assert any("memory" in w for w in answer["warnings"])
    assert any("UPASI" in s for s in answer["sources"])


def test_a_target_gives_settings_and_readings_move_the_projection():
    wet = {"time_h": 5.0, "quantity": "moisture_wb", "value": 0.745, "standard_uncertainty": 0.005}
    asked = LOAD | {"target_moisture_wb": 0.65, "latest_h": 16.0}
    plain = doors.call("wither", asked)
    told = doors.call("wither", asked | {"readings": [wet]})
    assert plain["settings"]["reachable"]
    assert plain["settings"]["course"]["moisture_wb_out"] == pytest.approx(0.65, abs=1e-3)
    assert told["projection"]["finish_h"] > plain["projection"]["finish_h"]
    assert told["projection"]["rate_factor"] < plain["projection"]["rate_factor"]


def test_an_hour_that_never_comes_is_null_and_the_reason_is_said():
    damp = LOAD | {"relative_humidity": [1.0], "target_moisture_wb": 0.3, "air_max_c": 24.0}
    answer = doors.call("wither", damp)
    assert answer["projection"]["finish_h"] is None
    assert not answer["settings"]["reachable"]


def test_a_trough_of_ones_own_and_an_hourly_series():
    own = LOAD | {
        "dry_bulb_c": [24.0, 23.0, 22.0],
        "relative_humidity": [0.7, 0.75, 0.8],
        "duration_h": 2.0,
        "reversal_h": [1.0],
        "trough": {"length_m": 30.5, "width_m": 1.8, "n_layers": 5},
    }
    course = doors.call("wither", own)["course"]
    assert len(course["moisture_layers_wb"]) == 5
    assert course["loading_kg_m2"] == pytest.approx(1220.0 / (30.5 * 1.8))
    assert course["air_upward"][0] and not course["air_upward"][-1]


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"mass_kg": -5.0}, "mass_kg", "above 0"),
        ({"mass_kg": 50000.0}, "mass_kg", "cannot lift enough air"),
        ({"moisture_wb": 1.3}, "moisture_wb", "0.05 to 0.95"),
        ({"relative_humidity": [0.7, 0.8]}, "relative_humidity", "as many"),
        ({"trough": {"fan": 3}}, "trough.fan", "not a field"),
        ({"trough": {"fan_efficiency": 1.5}}, "fan_efficiency", "0 to 1"),
        ({"target_moisture_wb": 0.9}, "target_moisture_wb", "must be below"),
        (
            {
                "readings": [
                    {"time_h": 1, "quantity": "mass_kg", "value": 9, "standard_uncertainty": 1}
                ]
            },
            "target_moisture_wb",
            "need a target",
        ),
    ],
)
def test_bad_input_names_field_and_remedy(change, field, words):
    with pytest.raises(BadInput) as caught:
        doors.call("wither", LOAD | change)
    assert caught.value.problems[0].field == field
    assert words in caught.value.problems[0].message


def test_what_is_set_for_after_the_end_is_told():
    late = LOAD | {"duration_h": 6.0, "reversal_h": [4.0, 20.0], "fan_off_h": [[7.0, 8.0]]}
    said = doors.call("wither", late)["warnings"]
    assert any(w.endswith("without use: reversal_h 20, fan_off_h 7 to 8.") for w in said)
    in_time = LOAD | {"duration_h": 6.0, "reversal_h": [4.0]}
    assert not any("without use" in w for w in doors.call("wither", in_time)["warnings"])
