"""The carbon door."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.doors import call

BASE = {
    "stages": [
        {"stage": "wither", "electricity_kwh": 20},
        {"stage": "dry", "electricity_kwh": 30, "fuel": "wood", "fuel_kg": 200},
    ],
    "grid_kg_co2e_kwh": 0.5,
    "grid_source": "an invented grid, demo",
    "product_kg": 100,
}


def test_gross_and_biogenic_are_apart():
    # Factors of IPCC 2006 (memory): 200 kg wood are 3.12 GJ, 112 kg biogenic CO2 a GJ.
    out = call("carbon", BASE)
    assert out["biogenic_kg_co2"] == pytest.approx(3.12 * 112)
    assert out["kg_co2e"] == pytest.approx(25 + 3.12 * 1.9)
    assert out["net_kg_co2e"] is None
    assert "gates" in out["boundary"]
    assert any("memory" in w for w in out["warnings"])


def test_heat_with_efficiency_is_the_same_as_fuel():
    heat = 200 * 15.6 / 3.6 * 0.7
    stages = [
        BASE["stages"][0],
        {
            "stage": "dry",
            "electricity_kwh": 30,
            "fuel": "wood",
            "heat_kwh": heat,
            "efficiency": 0.7,
        },
    ]
    out = call("carbon", BASE | {"stages": stages})
    assert out["kg_co2e"] == pytest.approx(call("carbon", BASE)["kg_co2e"])


def test_gross_uptake_is_never_subtracted():
    plain = call("carbon", BASE)
    gross = call("carbon", BASE | {"farm_gross_uptake_kg_co2": 1000})
    assert gross["kg_co2e"] == plain["kg_co2e"]
    assert gross["net_kg_co2e"] is None
    assert any("39%" in w for w in gross["warnings"])
    net = call("carbon", BASE | {"farm_net_uptake_kg_co2": 10})
    assert net["net_kg_co2e"] == pytest.approx(plain["kg_co2e"] - 10)


def test_tea_is_held_against_published_factories():
    # Tea factories report 2.27 to 4.32 kg CO2e/kg (secondary).
    low = call("carbon", BASE | {"product": "tea"})
    assert any("below what tea factories report" in w for w in low["warnings"])
    usual = call("carbon", BASE | {"product": "tea", "product_kg": 10})
    assert not any("tea factories" in w for w in usual["warnings"])


@pytest.mark.parametrize(
    "change",
    [
        {"stages": []},
        {"stages": [{"stage": "dry", "fuel": "unicorn", "fuel_kg": 1}]},
        {"stages": [{"stage": "dry", "fuel_kg": 1}]},
        {"stages": [{"stage": "dry", "fuel": "wood"}]},
        {"stages": [{"stage": "dry", "fuel": "wood", "heat_kwh": 1}]},
        {"stages": [{"stage": "dry", "electricity_kwh": -1}]},
        {"product_kg": 0},
        {"grid_kg_co2e_kwh": -0.1},
        {"moisture_wb": 1.3},
    ],
)
def test_bad_input(change):
    with pytest.raises(BadInput):
        call("carbon", BASE | change)
