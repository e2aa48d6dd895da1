"""The conformity door."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.doors import call


def test_zener_diode():
    # JCGM 106:2012: p_c 0.92 for z 1.40 (printed with two decimals).
    out = call("conformity", {"value": -5.47, "standard_uncertainty": 0.05, "upper": -5.40})
    assert out["probability_conforming"] == pytest.approx(0.92, abs=0.005)
    assert out["decision"] == "undecided"
    assert out["acceptance_interval"] == [None, pytest.approx(-5.50)]
    assert out["sources"]


def test_rules():
    base = {"value": 3.1, "standard_uncertainty": 0.1, "upper": 3.0, "guard_factor": 2}
    decisions = {
        rule: call("conformity", base | {"rule": rule})["decision"]
        for rule in ("simple", "guarded", "guarded_rejection")
    }
    assert decisions == {
        "simple": "does_not_conform",
        "guarded": "undecided",
        "guarded_rejection": "conforms",
    }
    assert call("conformity", base | {"rule": "guarded_rejection"})["warnings"]


def test_too_doubtful_to_accept_anything_is_said():
    out = call("conformity", {"value": 5, "standard_uncertainty": 1, "lower": 4, "upper": 6})
    assert out["acceptance_interval_empty"]
    assert out["warnings"]


@pytest.mark.parametrize(
    "data",
    [
        {"value": 1, "standard_uncertainty": 0.1},
        {"value": 1, "standard_uncertainty": -0.1, "upper": 2},
        {"value": 1, "standard_uncertainty": 0.1, "lower": 2, "upper": 1},
        {"value": 1, "standard_uncertainty": 0.1, "upper": 2, "rule": "lenient"},
        {"value": 1, "standard_uncertainty": 0.1, "upper": 2, "colour": "green"},
        {"value": float("inf"), "standard_uncertainty": 0.1, "upper": 2},
        {"standard_uncertainty": 0.1, "upper": 2},
    ],
)
def test_bad_input(data):
    with pytest.raises(BadInput):
        call("conformity", data)
