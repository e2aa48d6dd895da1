"""The oxidise door: best minutes, a given time, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

LEAF = {"mass_kg": 400, "moisture_wb": 0.61}
STEADY = {
    "dry_bulb_c": 26.5,
    "relative_humidity": 1.0,
    "air_kg_h_kg": 60,
    "effectiveness": 1.0,
    "leaf_temperature_c": 26.5,
    "catechins_mg_g": 0,
}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cut", "minutes"), [("orthodox_fine", 60), ("orthodox_coarse", 150), ("ctc", 30)]
)
def test_without_minutes_it_finds_the_published_best_time(cut, minutes):
    # Iranian factories (abstract): 60, 150, 30 min; calibrated at 26.5 degC, 1 %.
    out = doors.call("oxidise", LEAF | STEADY | {"cut": cut})
    assert out["reachable"] is True
    assert out["minutes"] == pytest.approx(minutes, rel=0.01)
    assert out["window_from_min"] < minutes < out["window_to_min"]


def test_a_given_time_closes_its_balances():
    out = doors.call("oxidise", LEAF | {"minutes": 45})
    assert out["duration_h"] == pytest.approx(0.75)
    assert out["water_residual"] < 1e-6
    assert out["energy_residual"] < 1e-6
    assert any("own assumptions" in w or "own" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -4}, "mass_kg"),
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"cut": "shred"}, "cut"),
        ({"leaf": "nori_sheet"}, "leaf_id"),
        ({"relative_humidity": 1.2}, "relative_humidity"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("oxidise", LEAF | change)
    assert field in [p.field for p in caught.value.problems]
