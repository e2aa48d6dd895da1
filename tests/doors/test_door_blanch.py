"""The blanch door: a run, a target, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

LAB = {
    "leaf": "sugar_kelp_raw",
    "mass_kg": 10,
    "moisture_wb": 0.92,
    "iodine_mg_kg_dw": 4605,
    "bath": {"water_kg": 20000, "dip_kg": 10, "heater_kw": 1000},
}


def test_nielsen_2020_through_the_door():
    # Nielsen et al. 2020 (abstract): 4605 -> 293 mg/kg dw, 80 degC, 120 s (calibrated, 1 %).
    out = doors.call("blanch", LAB)
    assert out["iodine_mg_kg_dw"] == pytest.approx(293, rel=0.01)
    assert out["reachable"] is None
    assert out["water_residual"] < 1e-6
    assert out["energy_residual"] < 1e-6
    assert any("own assumptions" in w for w in out["warnings"])
    assert any("Nielsen" in s for s in out["sources"])


def test_a_target_finds_the_seconds():
    out = doors.call("blanch", LAB | {"iodine_max_mg_kg_dw": 1000})
    assert out["reachable"] is True
    assert out["iodine_worst_mg_kg_dw"] <= 1000
    assert 10 < out["immersion_s"] < 120


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"leaf": "tea_black"}, "leaf_id"),
        ({"bath": {"water_kg": 100}}, "dip_kg"),
        ({"bath": {"water_kg": 100, "dip_kg": 5, "medium": "milk"}}, "bath.medium"),
        ({"temperature_max_c": 120}, "temperature_max_c"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("blanch", LAB | change)
    assert field in [p.field for p in caught.value.problems]
