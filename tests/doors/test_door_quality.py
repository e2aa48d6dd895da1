"""The quality door: a trace, a dryer's run, constants, trials, bad input."""

import math

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

TRACE = {"leaf": "sugar_kelp_blanched", "time_h": [0, 5], "leaf_c": [50, 50]}
LOSS = {"what": "vitamin_c", "rate_per_h": 0.2, "reference_c": 50, "activation_j_mol": 50000}
RUN = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.88,
    "residence_h": 4.0,
    "feed_kg_h": 90.0,
    "dryer": {"area_m2": 40.0, "zones": [{"share": 1.0, "inlet_c": 66.0, "velocity_m_s": 0.5}]},
}


def rows(out):
    return {row["what"]: row for row in out["kept"]}


def test_a_steady_trace_is_first_order():
    out = doors.call("quality", TRACE | {"losses": [LOSS]})
    assert rows(out)["vitamin_c"]["kept"] == pytest.approx(math.exp(-1.0))
    assert rows(out)["chlorophyll"]["kept"] is None
    assert "No published constant" in rows(out)["chlorophyll"]["note"]
    assert (out["margin_k"], out["hours_over_limit"]) == (10.0, 0.0)
    assert out["sources"]


def test_a_dryer_run_is_judged_like_the_dryer_door_runs_it():
    out = doors.call("quality", {"leaf": RUN["leaf"], "dryer_run": RUN, "losses": [LOSS]})
    assert out["leaf_max_c"] == pytest.approx(doors.call("dryer", RUN)["leaf_temperature_max_c"])
    assert 0.0 < rows(out)["vitamin_c"]["least"] < rows(out)["vitamin_c"]["kept"] < 1.0
    assert any("case hardening" in w for w in out["warnings"])


def test_trials_give_the_constants():
    trials = [
        {"what": "phenolics", "leaf_c": t, "hours": h, "kept": kept}
        for t, h, kept in ((45, 4, 0.8), (60, 4, 0.5))
    ]
    out = doors.call("quality", TRACE | {"trials": trials})
    (constant,) = out["constants"]
    # ln(0.5)/ln(0.8) = 3.1063 over 45 to 60 degC: E = R ln(3.1063)/(1/318.15 - 1/333.15).
    by_hand = 8.314462618 * math.log(3.10628) / (1 / 318.15 - 1 / 333.15)
    assert constant["activation_j_mol"] == pytest.approx(by_hand, rel=1e-5)
    assert 0.5 < rows(out)["phenolics"]["kept"] < 0.8


def test_trials_alone_are_enough_and_two_tell_no_doubt():
    """As the page on heat says: constants of the works' own without a trace beside them."""
    trials = [
        {"what": "phenolics", "leaf_c": t, "hours": 4, "kept": kept}
        for t, kept in ((45, 0.8), (60, 0.5))
    ]
    two = doors.call("quality", {"leaf": TRACE["leaf"], "trials": trials})
    assert two["leaf_max_c"] is None and two["kept"] == []
    assert any("phenolics: trials too few (2)" in w for w in two["warnings"])
    third = {"what": "phenolics", "leaf_c": 52, "hours": 4, "kept": 0.68}
    three = doors.call("quality", {"leaf": TRACE["leaf"], "trials": [*trials, third]})
    assert three["constants"][0]["rate_relative_sd"] > 0.0
    assert three["warnings"] == []


def test_trials_at_one_temperature_take_the_published_activation_energy():
    """By hand: the mean of ln(-ln 0.8/4) and ln(-ln 0.62/8) is ln of 0.05774 an hour."""
    trials = [
        {"what": "vitamin_c", "leaf_c": 45, "hours": h, "kept": kept}
        for h, kept in ((4, 0.8), (8, 0.62))
    ]
    (found,) = doors.call("quality", TRACE | {"trials": trials})["constants"]
    assert found["rate_per_h"] == pytest.approx(0.05774, rel=1e-3)
    assert found["activation_j_mol"] == pytest.approx(49900.0)
    with pytest.raises(BadInput, match="all at 45 degC and no activation energy is published"):
        doors.call("quality", TRACE | {"trials": [t | {"what": "chlorophyll"} for t in trials]})


def test_a_rate_alone_takes_the_published_activation_energy():
    alone = {k: v for k, v in LOSS.items() if k != "activation_j_mol"}
    out = doors.call("quality", TRACE | {"losses": [alone]})
    assert out["constants"][0]["activation_j_mol"] == pytest.approx(49900.0)


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"leaf": "sugar_kelp_blanched"}, "time_h"),
        (TRACE | {"dryer_run": RUN}, "dryer_run"),
        ({"leaf": "tea_black", "dryer_run": RUN}, "dryer_run"),
        ({"leaf": RUN["leaf"], "dryer_run": RUN | {"target_moisture_wb": 0.1}}, "dryer_run"),
        (TRACE | {"time_h": [0, 5, 4]}, "time_h"),
        (TRACE | {"leaf_c": [50]}, "leaf_c"),
        (TRACE | {"leaf": "oak"}, "leaf"),
        (TRACE | {"losses": [LOSS | {"what": "colour", "activation_j_mol": None}]}, "activation"),
        (TRACE | {"trials": [{"what": "x", "leaf_c": 50, "hours": 1, "kept": 0.5}]}, "trials"),
        (TRACE | {"aroma": 1}, "aroma"),
    ],
)
def test_bad_input_names_its_field(data, field):
    with pytest.raises(BadInput) as caught:
        doors.call("quality", data)
    assert any(p.field.startswith(field) for p in caught.value.problems)
