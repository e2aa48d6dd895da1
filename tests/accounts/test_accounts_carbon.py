"""Greenhouse gas between the gates: factors, sums and what is kept apart."""

import math

import pytest

from wareleaf.accounts import Use, figures, footprint, fuel, fuel_for_heat_kg, fuel_ids
from wareleaf.accounts.carbon import net_share_of_farm_uptake
from wareleaf.measure import BadInput, Evidence


def test_well_known_values_of_the_default_factors():
    # IPCC 2006 defaults (memory): natural gas 0.202 kg CO2/kWh, diesel 2.68 kg CO2 a litre at
    # 0.84 kg/l (memory), LPG 2.98 kg CO2/kg. Three printed digits.
    gas, diesel, lpg = fuel("natural_gas"), fuel("diesel"), fuel("lpg")
    assert gas.co2_fossil_kg_gj * 3.6 / 1000 == pytest.approx(0.202, abs=5e-4)
    per_litre = diesel.co2_fossil_kg_gj * diesel.net_calorific_value_mj_kg / 1000 * 0.84
    assert per_litre == pytest.approx(2.68, abs=5e-3)
    assert lpg.co2_fossil_kg_gj * lpg.net_calorific_value_mj_kg / 1000 == pytest.approx(
        2.98, abs=6e-3
    )
    assert all(fuel(f).evidence is Evidence.MEMORY for f in fuel_ids())


def test_methane_and_nitrous_oxide_are_in():
    # Wood: 0.03 kg CH4 and 0.004 kg N2O a GJ at 28 and 265 (memory): 1.9 kg CO2e a GJ, no fossil.
    assert fuel("wood").co2e_kg_gj() == pytest.approx(0.03 * 28 + 0.004 * 265)


def test_a_tea_factory_by_hand():
    # 100 kg tea, 40 kWh at 0.5, 335 kg wood (3.35 kg/kg, Taulo and Sebitosi 2016, secondary).
    found = footprint(
        [Use("wither", 15.0), Use("dry", 25.0, "wood", 335.0)],
        grid_kg_co2e_kwh=0.5,
        product_kg=100.0,
        moisture_wb=0.04,
    )
    gj = 335.0 * 15.6 / 1000.0
    assert found.kg_co2e == pytest.approx(20.0 + gj * 1.9)
    assert found.biogenic_kg_co2 == pytest.approx(gj * 112.0)
    assert found.fuel_kwh == pytest.approx(gj / 0.0036)
    assert found.kg_co2e_per_kg_dry == pytest.approx(found.kg_co2e_per_kg / 0.96)
    assert [s.stage for s in found.stages] == ["wither", "dry"]
    assert sum(s.kg_co2e for s in found.stages) == pytest.approx(found.kg_co2e)


def test_fuel_for_heat():
    kg = fuel_for_heat_kg(430.0, "diesel", 0.9)
    assert kg * fuel("diesel").net_calorific_value_mj_kg / 3.6 * 0.9 == pytest.approx(430.0)


def test_net_share_of_the_careful_farm_balance():
    # Coleman et al. (2022), secondary: 244 of 628 t a year, printed as 39 %.
    assert net_share_of_farm_uptake() == pytest.approx(0.39, abs=0.005)


def test_no_energy_no_carbon():
    found = footprint([], grid_kg_co2e_kwh=0.4, product_kg=1.0)
    assert found.kg_co2e == 0.0
    assert found.kg_co2e_per_kg_dry is None
    assert found.evidence is Evidence.READ


def test_published_figures_have_evidence():
    rows = figures("tea_factory")
    assert {f.evidence for f in rows} <= {Evidence.READ, Evidence.SECONDARY}


@pytest.mark.parametrize(
    "call",
    [
        lambda: fuel("unicorn"),
        lambda: fuel_for_heat_kg(1.0, "wood", 0.0),
        lambda: fuel_for_heat_kg(-1.0, "wood", 0.8),
        lambda: footprint([], grid_kg_co2e_kwh=math.nan, product_kg=1.0),
        lambda: footprint([], grid_kg_co2e_kwh=0.1, product_kg=0.0),
        lambda: footprint([], grid_kg_co2e_kwh=0.1, product_kg=1.0, moisture_wb=1.0),
        lambda: footprint([Use("x", -1.0)], grid_kg_co2e_kwh=0.1, product_kg=1.0),
        lambda: footprint([Use("x", fuel_kg=1.0)], grid_kg_co2e_kwh=0.1, product_kg=1.0),
    ],
)
def test_bad_input(call):
    with pytest.raises(BadInput):
        call()
