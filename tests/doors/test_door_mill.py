"""The mill door: a run, a limit sought, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

LOAD = {"leaf": "sugar_kelp_blanched", "mass_kg": 300, "moisture_wb": 0.09}


def test_kick_through_the_door():
    # Coulson & Richardson vol. 2, example 2.1: 13 kJ/kg for 50 -> 10 mm, so K = 13/ln 5; 75 -> 25.
    out = doors.call(
        "mill",
        LOAD | {"feed_um": 75e3, "product_um": 25e3, "mill": {"law": "kick", "constant": 8.0774}},
    )
    assert out["work_kj_kg"] == pytest.approx(8.88, abs=0.01)
    assert out["energy_residual"] < 1e-6
    assert out["water_residual"] < 1e-6
    assert any("explode" in w for w in out["warnings"])
    assert not any("own assumption" in w for w in out["warnings"])  # the constant was given


def test_the_fastest_feed_within_the_limits():
    out = doors.call("mill", LOAD | {"vary": "feed_kg_h"})
    assert out["reachable"] is True
    assert out["motor_load"] <= 1.0
    assert out["feed_kg_h"] > 150


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"product_um": 9000}, "product_um"),
        ({"vary": "colour"}, "vary"),
        ({"leaf": "bracken"}, "leaf"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("mill", LOAD | change)
    assert any(field in p.field for p in caught.value.problems)
