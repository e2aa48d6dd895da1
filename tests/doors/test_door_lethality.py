"""The lethality door: exact fields, published case, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

TRACE = {"time_s": [0, 120], "temperature_c": [70, 70], "reference_c": 70, "z_k": 7.5}


def test_it_answers_with_the_exact_fields():
    out = doors.call("lethality", TRACE | {"d_reference_s": 20})
    assert out["equivalent_time_s"] == pytest.approx(120.0)
    assert out["log_reduction"] == pytest.approx(6.0)
    assert out["sources"]
    assert "trapezoid" in out["method"]


def test_geankoplis_9_12_2_through_the_door():
    # Geankoplis 3rd ed., example 9.12-2: 2.50 min.
    t_f = [80, 165, 201, 212.5, 225, 230.5, 235]
    out = doors.call(
        "lethality",
        {
            "time_s": [60 * m for m in (0, 15, 25, 30, 40, 50, 64)],
            "temperature_c": [(f - 32) / 1.8 for f in t_f],
            "reference_c": 121.1111111,
            "z_k": 10,
        },
    )
    assert out["equivalent_time_s"] / 60 == pytest.approx(2.50, abs=0.01)
    assert out["log_reduction"] is None
    assert out["warnings"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"z_k": 0}, "z_k"),
        ({"time_s": [0]}, "time_s"),
        ({"time_s": [10, 0]}, "time_s"),
        ({"temperature_c": [70, 70, 70]}, "temperature_c"),
        ({"d_reference_s": -1}, "d_reference_s"),
        ({"colour": 1}, "colour"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("lethality", TRACE | change)
    assert field in [p.field for p in caught.value.problems]


def test_a_probe_in_the_water_is_carried_into_the_blade():
    water = {"time_s": [0, 5, 120], "temperature_c": [20, 85, 85], "reference_c": 70, "z_k": 7.5}
    bare = doors.call("lethality", water | {"enzyme": "peroxidase"})
    blade = doors.call(
        "lethality",
        water | {"half_thickness_m": 0.002, "leaf_temperature_c": 8, "enzyme": "peroxidase"},
    )
    assert blade["equivalent_time_s"] < bare["equivalent_time_s"]
    assert bare["enzyme_survival"] < blade["enzyme_survival"] < 1.0
    assert len(blade["middle_c"]) == len(blade["time_s"])
    assert any("corn" in w for w in blade["warnings"])


def test_an_enzyme_of_ones_own():
    trace = {"time_s": [0, 60], "temperature_c": [80, 80], "reference_c": 80, "z_k": 10}
    own = [{"share": 1, "rate_per_min": 2, "activation_j_mol": 80000, "reference_c": 80}]
    left = doors.call("lethality", trace | {"enzyme": own})["enzyme_survival"]
    assert left == pytest.approx(0.1353, abs=1e-4)  # exp(-2)
