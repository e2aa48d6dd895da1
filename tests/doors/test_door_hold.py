"""The hold door: waiting kelp, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

KELP = {
    "leaf": "sugar_kelp_raw",
    "mass_kg": 800,
    "moisture_wb": 0.92,
    "leaf_temperature_c": 20,
    "surroundings_c": [20],
    "respiration_w_kg_20c": 0,
}


def test_concepcion_2020_two_and_eight_hours_through_the_door():
    # Growers' page citing Concepcion et al. 2020: 2 h for quality, 8 h for safety, unchilled.
    out = doors.call("hold", KELP)
    assert out["latest_start_h"] == pytest.approx(2.0, rel=0.02)
    assert out["lost_h"] == pytest.approx(8.0, rel=0.02)
    assert out["water_residual"] < 1e-6
    assert out["energy_residual"] < 1e-6
    assert any("food-safety plan" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"surroundings_c": []}, "surroundings_c"),
        ({"surroundings_c": [120]}, "surroundings_c"),
        ({"hours": 1e6}, "hours"),
        ({"leaf": "bracken"}, "leaf"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("hold", KELP | change)
    assert any(field in p.field for p in caught.value.problems)
