"""Dryers against published cases; where the model misses, the miss is stated, not tuned away.

Kinetic constants come from the leaf profiles, so these are tests of the dryer as it is used.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from wareleaf import leaf
from wareleaf.air import humidity_ratio, relative_humidity, wet_bulb_c
from wareleaf.air.constants import CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K
from wareleaf.stages import dry
from wareleaf.stages._dry_cell import Air, Bed, Leaf, _approach, cell, drive
from wareleaf.stages._dry_tables import by_dry_bulb, tables

LEAF = leaf.profile("wakame_blade")


def step(excess, rate_per_h, limit_per_h, hours):
    """Excess moisture after some hours with inner rate constant and outer limit, both per hour."""
    return float(_approach(np.array(excess), np.array(rate_per_h), np.array(limit_per_h), hours))


def layer(units: float, flux=1.0, dt_s=0.01) -> Bed:
    """One layer of very permeable wet leaf with this many transfer units."""
    cp = CP_DRY_AIR_J_KG_K
    one = np.ones((1, 1))
    return Bed(
        tables=tables(LEAF, 101325.0),
        by_dry_bulb=by_dry_bulb(LEAF, 101325.0, 1.0),
        rate_factor=1e9 * one,
        flux=flux * one,
        layer_kg_m2=one,
        conductance=units * flux * cp * one,
        dt_s=dt_s * one,
        steps=1,
    )


def test_constant_rate_time_geankoplis_9_6_2():
    """Geankoplis 3rd ed. p. 541: Ls/A 21.5, X 0.38 to 0.25, Rc 1.51 kg/(h m2): 1.85 h."""
    limit = 1.51 / 21.5
    assert step(0.38, 1e6, limit, 1.85) == pytest.approx(0.25, abs=0.001)


def test_linear_falling_rate_geankoplis_9_7_2():
    """Geankoplis p. 547: Ls 399 kg, A 18.58 m2, Xc 0.195 to 0.040, Rc 1.51: 4.39 h in all.

    The book's drying runs from 0.38: constant rate to Xc, then falling. Our two limits in turn.
    """
    constant_per_h = 1.51 * 18.58 / 399.0
    rate = constant_per_h / 0.195
    hours = 4.39
    assert step(0.195, rate, 1e9, hours) == pytest.approx(0.040, rel=0.005)


def test_two_periods_coulson_16_1():
    """Coulson and Richardson vol. 2 p. 909: 0.25 to 0.10 in 15 ks; then 0.30 to 0.08 in 24.0 ks.

    Critical 0.15, equilibrium 0.05: the first run fixes the rate, the second is predicted.
    """

    def hours(start, end, per_h):
        return (start - 0.15) / per_h + 0.10 / per_h * math.log(0.10 / (end - 0.05))

    constant_per_h = hours(0.25, 0.10, 1.0) / (15 / 3.6)
    first = (0.30 - 0.15) / constant_per_h
    at_critical = step(0.25, 1e6, constant_per_h, first)
    assert at_critical == pytest.approx(0.10, abs=1e-4)
    end = step(at_critical, constant_per_h / 0.10, 1e9, 24.0 / 3.6 - first)
    assert end + 0.05 == pytest.approx(0.08, rel=0.01)


def test_series_of_both_is_the_sum_of_the_two_times():
    """Closed form: (u0 - u)/Ne + ln(u0/u)/k, the constant-rate time plus the Lewis exponential."""
    u0, k, limit, hours = 5.0, 1.7, 2.3, 3.1
    u = step(u0, k, limit, hours)
    assert (u0 - u) / limit + math.log(u0 / u) / k == pytest.approx(hours, rel=1e-12)


def test_pan_evaporation_geankoplis_9_6_3():
    """Geankoplis p. 543: pan 0.457 m square, 6.1 m/s at 65.6 degC, H 0.010: 0.708 kg/h.

    h = 0.0204 G^0.8 as in the book. 1 %: the book takes H and the wet bulb from a chart.
    """
    t, w = 65.6, 0.010
    volume = (2.83e-3 + 4.56e-3 * w) * (t + 273.15)
    h = 0.0204 * (6.1 * (1 + w) / volume * 3600.0) ** 0.8
    bed = layer(1e-6)
    bed = Bed(**{**vars(bed), "conductance": np.array([[h]]), "flux": np.array([[1e6]])})
    still = Air(np.zeros((1, 1)), np.zeros((1, 1)))
    wet = Leaf(np.array([[5.0]]), np.array([[28.9]]))
    rate = drive(bed, wet, Air(np.array([[t]]), np.array([[w]])), still, 0.0).outside[0, 0]
    assert rate * 0.457**2 * 3600.0 == pytest.approx(0.708, rel=0.01)


def test_air_through_a_wet_bed_coulson_16_5():
    """Coulson and Richardson p. 930: 400 K, H 0.01, 1.5 units, wet bulb 312 K: out at 331.6 K.

    Air through one wet layer comes as near to the wet bulb. 1 %: the book reads Tw from a chart.
    """
    t_in, w = 400.0 - 273.15, 0.01
    cp = CP_DRY_AIR_J_KG_K + w * CP_VAPOUR_J_KG_K
    bed = layer(1.5 * cp / CP_DRY_AIR_J_KG_K)
    wet = float(wet_bulb_c(t_in, w))
    assert wet + 273.15 == pytest.approx(312.0, abs=1.0)
    still = Air(np.zeros((1, 1)), np.zeros((1, 1)))
    blade = Leaf(np.array([[8.0]]), np.array([[wet]]))
    _, out = cell(bed, blade, Air(np.array([[t_in]]), np.array([[w]])), still)
    assert out.dry_bulb[0, 0] + 273.15 == pytest.approx(331.6, rel=0.01)


def test_thousand_kg_dried_treybal_12_1():
    """Treybal 3rd ed. p. 660: 0.8 to 0.05 weight fraction, 1000 kg dried product: 3750 kg gone."""
    dryer = dry.BeltDryer(400.0, (dry.Zone(1.0, 60.0, 1.0, 0.7),), time_max_h=8.0)
    run = dry.DryRun("wakame_blade", 0.8, 1.0, feed_kg_h=4750.0)
    found = dry.aim(dryer, run, 0.05, leaf_temperature_max_c=80.0)
    assert found.reachable
    assert found.result.mass_out_kg == pytest.approx(1000.0, abs=0.1)
    assert found.result.water_removed_kg == pytest.approx(3750.0, abs=0.1)


WATER_LOADS = """82,90,72 82,70,52 82,45,27 78,90,68 78,70,48 78,45,23 74,90,64 74,70,44 74,45,19"""


@pytest.mark.parametrize("row", WATER_LOADS.split())
def test_water_to_evaporate_in_the_tea_dryer(row):
    """teauction.com, 'Drying' (read): kg of water left to the dryer per 100 kg of fresh leaf.

    The table dries to bone dry; we add the water that stays in the made tea.
    """
    fresh, wither, water = (float(v) for v in row.split(","))
    dry_matter = 100.0 - fresh
    moisture = 1.0 - dry_matter / wither
    dryer = dry.FluidBed(8.0, (dry.Zone(1.0, 110.0, 1.5),))
    run = dry.DryRun("tea_black", moisture, 0.5, feed_kg_h=200.0, mass_kg=wither, ambient_c=25.0)
    made = dry.simulate(dryer, run, with_spread=False)
    assert made.water_removed_kg + made.mass_out_kg * made.moisture_wb_out == pytest.approx(
        water, abs=1e-6
    )


def fluid_bed(loading, inlet_c, velocity, moisture, **more):
    time_h, feed = 20.0 / 60.0, 400.0
    bed = dry.FluidBed(feed * time_h / loading, (dry.Zone(1.0, inlet_c, velocity),), **more)
    return bed, dry.DryRun("tea_black", moisture, time_h, feed_kg_h=feed, ambient_c=28.0)


def test_vibrated_fluid_bed_akhtaruzzaman_2013():
    """Akhtaruzzaman et al. 2013 (abstract): 69.1 % to 2.8 % (2.0 to 3.5) in 20 min, 130 in, 90 out.

    Load and air are not in the abstract: 25 kg/m2 and the velocity that gives their exhaust of
    90 degC. We come out at 0.6 %, 2.2 points drier: their constant over 20 min brings leaf to its
    balance with the air, and that ends at 2.0 % where our isotherm gives nearly 0 in air of 130
    degC. The miss is kept here; the factor 0.6 for thin-layer constants would make it 5.2 %.
    """
    usual = dry.simulate(*fluid_bed(25.0, 130.0, 1.05, 0.691))
    assert usual.exhaust_c == pytest.approx(90.0, abs=3.0)
    assert usual.moisture_wb_out == pytest.approx(0.006, abs=0.002)
    slow = dry.simulate(*fluid_bed(25.0, 130.0, 1.05, 0.691, rate_factor=0.6))
    assert slow.moisture_wb_out > 0.035
    assert not any("floods" in w for w in usual.warnings)


def test_the_fluid_bed_factor_is_not_counted_twice():
    """Temple and van Boxtel's 0.6 (abstract) turns a thin-layer constant into a fluid bed's.

    The constant of tea was measured in a fluid bed (Akhtaruzzaman 2013), those of seaweed in thin
    layers. Only without it do exhaust (66 to 71) and outlet (2 to 4 %) of a factory's bed go
    together, at any air velocity.
    """

    def of(leaf_id, factor):
        bed, run = fluid_bed(38.5, 124.0, 1.06, 0.65, rate_factor=factor)
        return dry.simulate(bed, dry.DryRun(**{**vars(run), "leaf_id": leaf_id}), with_spread=False)

    assert of("tea_black", None).moisture_wb_out == of("tea_black", 1.0).moisture_wb_out
    assert of("wakame_blade", None).moisture_wb_out == of("wakame_blade", 0.6).moisture_wb_out
    assert of("wakame_blade", None).sources != of("tea_black", None).sources

    def together(factor):
        found = []
        for velocity in (0.9, 1.0, 1.06, 1.2, 1.4, 1.8):
            made = dry.simulate(
                *fluid_bed(38.5, 124.0, velocity, 0.65, rate_factor=factor), with_spread=False
            )
            found.append(66.0 < made.exhaust_c < 71.0 and 0.02 < made.moisture_wb_out < 0.04)
        return any(found)

    assert together(1.0)
    assert not together(0.6)


def test_heat_of_the_fluid_bed():
    """Review, Appl. Therm. Eng. 2023 (abstract): 3.5 to 6 kWh of heat per kg of made tea."""
    made = dry.simulate(*fluid_bed(25.0, 130.0, 1.05, 0.691), with_spread=False)
    assert 3.5 < made.heat_kwh / made.mass_out_kg < 6.0


def test_fluid_bed_exhaust():
    """'Tea driers', teaworld (read): inlet 121 to 127, exhaust 66 to 71 degC.

    At the usual load of 38.5 kg/m2 (Moratuwa, abstract) and little more air than lifts the leaf.
    More air at the wet end (four zones) dries further.
    """
    made = dry.simulate(*fluid_bed(38.5, 124.0, 1.06, 0.65), with_spread=False)
    assert 66.0 < made.exhaust_c < 71.0
    assert 0.02 < made.moisture_wb_out < 0.04
    four = tuple(dry.Zone(0.25, 124.0, v) for v in (1.8, 1.4, 0.9, 0.8))
    bed, run = fluid_bed(38.5, 124.0, 1.0, 0.65)
    better = dry.simulate(dry.FluidBed(bed.area_m2, four), run, with_spread=False)
    assert better.moisture_wb_out < made.moisture_wb_out


def test_wet_end_exhaust_of_a_chain_dryer():
    """Tocklai (read): chain dryer inlet 82 to 99, exhaust 49 to 54 degC; teaworld: 100 and 55.

    A chain dryer leads its air through the circuits one after another, dry leaf first; here each
    zone takes fresh air. So only the wet half can be compared: 49 to 58 degC, 3 K beyond the
    sources. Over both halves our exhaust is hotter, and a works' chain dryer uses less heat.
    """
    time_h, feed = 21.0 / 60.0, 400.0
    halves = (dry.Zone(0.5, 99.0, 0.4), dry.Zone(0.5, 99.0, 0.4))
    dryer = dry.BeltDryer(feed * time_h / 12.0, halves)
    run = dry.DryRun("tea_black", 0.55, time_h, feed_kg_h=feed, ambient_c=25.0)
    made = dry.simulate(dryer, run, with_spread=False)
    assert 49.0 < made.zones[0].exhaust_c < 58.0
    assert made.exhaust_c > 58.0


@pytest.mark.parametrize(("particle_m", "density"), [(0.001801, 1336.0)])
def test_minimum_fluidisation_of_orthodox_tea(particle_m, density):
    """Univ. Moratuwa (abstract): feed of 1801 um and 1336 kg/m3, Umf 0.74 to 1.0 m/s.

    Wen and Yu's equation for round grains gives 0.70 m/s in air of 124 degC: 5 % below the band.
    Leaf is not round; the tolerance is 15 % on both ends.
    """
    air = 353.05 / (124.0 + 273.15)
    found = dry.minimum_fluidisation_m_s(particle_m, density, air)
    assert 0.85 * 0.74 < found < 1.15 * 1.0
    assert dry.minimum_fluidisation_m_s(0.000462, 1600.0, air) < 0.3 * found


@pytest.mark.parametrize("recirculated", [(0.88, 0.88), (0.90, 0.90), (0.93, 0.85)])
def test_heat_of_through_circulation_of_seaweed(recirculated):
    """Merritt et al. 1961, 1963 (abstracts): 1200 to 2000 Btu/lb, 2.79 to 4.65 MJ per kg water.

    78 % weed at their 22 kg/m2, dried to 15 % (they: 11 to 18) at 70 degC inlet (they: 49 to 93).
    How much they recirculated is not in the abstracts; our heat is 3.7 to 3.9 MJ/kg for these.
    Chondrus has no profile here: the wakame blade stands in.
    """
    first, second = recirculated
    zones = (dry.Zone(0.5, 70.0, 1.0, first, "up"), dry.Zone(0.5, 70.0, 1.0, second, "down"))
    run = dry.DryRun("wakame_blade", 0.78, 1.5, feed_kg_h=300.0)
    dryer = dry.BeltDryer(300.0 * 0.85 / 22.0, zones, loading_max_kg_m2=60.0, depth_max_m=0.6)
    found = dry.aim(dryer, run, 0.15, leaf_temperature_max_c=75.0)
    assert found.reachable
    assert found.result.moisture_wb_out == pytest.approx(0.15, abs=2e-4)
    assert 2.79 < found.result.heat_mj_per_kg_water < 4.65


def test_once_through_air_costs_more_heat_than_the_band():
    """Without recirculation the same belt is far above Merritt's 4.65 MJ/kg."""
    zones = (dry.Zone(1.0, 70.0, 1.0, 0.0),)
    run = dry.DryRun("wakame_blade", 0.78, 1.0, feed_kg_h=300.0)
    made = dry.simulate(dry.BeltDryer(15.0, zones), run, with_spread=False)
    assert made.heat_mj_per_kg_water > 6.0


def test_thin_layer_in_excess_air_is_lewis():
    """A single thin layer in much dry air follows exp(-k t) towards equilibrium (Lewis 1921).

    Panchariya et al. 2002 (abstract) found Lewis best for black tea, 80 to 120 degC. The outer
    resistance is made small by a slow leaf; 0.5 % covers what is left of it and the warm-up.
    """
    velocity, hours = 1.0, 3.0
    zone = (dry.Zone(1.0, 100.0, velocity),)
    dryer = dry.TrayDryer(100.0, zone, layers=1, steps=60, exposure=1.0)
    run = dry.DryRun("tea_black", 0.5, hours, mass_kg=2.0, ambient_c=20.0, rate_multiplier=0.02)
    made = dry.simulate(dryer, run, with_spread=False)
    k = 0.02 * leaf.rate_constant_per_h(leaf.profile("tea_black"), 100.0, velocity, "dry")
    activity = relative_humidity(100.0, humidity_ratio(20.0, 0.7))
    xe = leaf.equilibrium_moisture_db(leaf.profile("tea_black"), activity, 100.0)
    ratio = (made.moisture_wb_out / (1 - made.moisture_wb_out) - xe) / (1.0 - xe)
    assert -math.log(ratio) / (k * hours) == pytest.approx(1.0, rel=0.005)


def test_constants_all_have_a_source_and_no_published_number_is_hidden():
    from wareleaf.stages import _dry_figures

    table = Path(_dry_figures.__file__).parent / "data" / "dry.csv"
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    assert len(rows) == len(_dry_figures.figures())
    for figure in _dry_figures.figures().values():
        assert figure.source.startswith("dry_")
    made = dry.simulate(*fluid_bed(25.0, 130.0, 1.05, 0.691), with_spread=False)
    assert any("[memory]" in s for s in made.sources)
    assert any("[secondary]" in s for s in made.sources)
