"""The humid-air door as a spreadsheet user meets it."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

FIELDS = {
    "dry_bulb_c",
    "relative_humidity",
    "wet_bulb_c",
    "dew_point_c",
    "humidity_ratio",
    "pressure_pa",
    "vapour_pressure_pa",
    "saturation_pressure_pa",
    "enthalpy_j_kg",
    "specific_volume_m3_kg",
    "sources",
    "warnings",
}


def ask(**data):
    return doors.call("humid-air", data)


def test_a_tea_trough_on_a_mild_morning():
    # ASHRAE Fundamentals 2017 table 2 (as quoted in PsychroLib's tests), saturated at 25 degC
    out = ask(dry_bulb_c=25, relative_humidity=1)
    assert set(out) == FIELDS
    assert out["humidity_ratio"] == pytest.approx(0.020173, rel=1e-3)
    assert out["saturation_pressure_pa"] == pytest.approx(3169.7, rel=3e-4)
    assert out["sources"]
    assert len(out["warnings"]) == 1
    assert "recalled, not read" in out["warnings"][0]


@pytest.mark.parametrize("name", ["relative_humidity", "wet_bulb_c", "dew_point_c"])
def test_each_of_the_four_gives_the_same_air(name):
    first = ask(dry_bulb_c=38.0, humidity_ratio=0.012, pressure_pa=95_000)
    again = ask(dry_bulb_c=38.0, pressure_pa=95_000, **{name: first[name]})
    for field in FIELDS - {"sources", "warnings"}:
        assert again[field] == pytest.approx(first[field], rel=1e-6), field


def test_dryer_inlet_air_is_not_trapped_at_the_dry_bulb():
    # CoolProp 8.0.0: 86.10 degC
    out = ask(dry_bulb_c=120, relative_humidity=0.3)
    assert out["wet_bulb_c"] == pytest.approx(86.10, abs=0.03)
    assert any("real gas" in w for w in out["warnings"])


def test_bone_dry_air_has_no_dew_point():
    out = ask(dry_bulb_c=60, relative_humidity=0)
    assert out["dew_point_c"] is None
    assert any("dew point" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("data", "field", "says"),
    [
        ({"dry_bulb_c": 20}, "input", "exactly one"),
        ({"dry_bulb_c": 20, "relative_humidity": 0.5, "wet_bulb_c": 14}, "input", "exactly one"),
        ({"relative_humidity": 0.5}, "dry_bulb_c", "missing"),
        ({"dry_bulb_c": 20, "wet_bulb_c": 24}, "wet_bulb_c", "above the dry bulb"),
        ({"dry_bulb_c": 20, "relative_humidity": 40}, "relative_humidity", "at most 1"),
        ({"dry_bulb_c": 20, "humidity_ratio": 0.05}, "humidity_ratio", "above saturation"),
        ({"dry_bulb_c": 20, "relative_humidity": float("nan")}, "relative_humidity", "finite"),
        ({"dry_bulb_c": 20, "relative_humidity": 0.5, "rh": 1}, "rh", "not a field"),
        ({"dry_bulb_c": 20, "relative_humidity": 0.5, "pressure_pa": 101}, "pressure_pa", "20000"),
    ],
)
def test_bad_air_names_the_field(data, field, says):
    with pytest.raises(BadInput) as caught:
        doors.call("humid-air", data)
    problems = {p.field: p.message for p in caught.value.problems}
    assert field in problems
    assert says in problems[field]
