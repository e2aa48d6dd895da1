"""Water and energy close on every run, whatever the dryer, the leaf and the air."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wareleaf import air, leaf
from wareleaf.stages import dry

LEAVES = st.sampled_from(leaf.profile_ids())


@st.composite
def heated_zones(draw, low_c=45.0, high_c=125.0):
    count = draw(st.integers(1, 3))
    return tuple(
        dry.Zone(
            share=1.0 / count,
            inlet_c=draw(st.floats(low_c, high_c)),
            velocity_m_s=draw(st.floats(0.1, 2.5)),
            recirculated=draw(st.sampled_from([0.0, 0.3, 0.7, 0.9, 0.97])),
            direction=draw(st.sampled_from(["up", "down"])),
            remix=draw(st.booleans()),
        )
        for _ in range(count)
    )


@st.composite
def runs(draw):
    return dry.DryRun(
        leaf_id=draw(LEAVES),
        moisture_wb=draw(st.floats(0.15, 0.95)),
        residence_h=draw(st.floats(0.05, 5.0)),
        feed_kg_h=draw(st.floats(5.0, 800.0)),
        mass_kg=draw(st.floats(20.0, 900.0)),
        ambient_c=draw(st.floats(-10.0, 40.0)),
        ambient_rh=draw(st.floats(0.05, 1.0)),
        pressure_pa=draw(st.sampled_from([101325.0, 85000.0])),
        leaf_c=draw(st.floats(0.0, 60.0)),
        rate_multiplier=draw(st.floats(0.3, 3.0)),
    )


def closes(dryer, run):
    result = dry.simulate(dryer, run, with_spread=False)
    assert result.water_residual < 1e-6
    assert result.energy_residual < 1e-6
    feed = run.lot_kg()
    assert result.mass_in_kg == feed
    assert result.mass_out_kg + result.water_removed_kg == pytest.approx(feed, rel=1e-9)
    assert result.mass_out_kg * (1 - result.moisture_wb_out) == pytest.approx(
        result.dry_matter_kg, rel=1e-9
    )
    assert sum(z.water_removed_kg for z in result.zones) == pytest.approx(
        result.water_removed_kg, rel=1e-8, abs=1e-9
    )
    assert 0.0 <= result.moisture_wb_out < 1.0
    highest = max(result.air_temperature_max_c, run.leaf_c)
    assert result.leaf_temperature_max_c <= highest + 1e-6
    for z in result.zones:
        assert z.exhaust_humidity_ratio >= 0.0
        assert z.exhaust_relative_humidity < max(1.25, mist_limit(z, run) + 0.02)
    return result


def mist_limit(zone, run):
    """Most relative humidity that the mean of cold and warm exhaust can show, each saturated.

    The saturation curve bends upwards, so a mixture of two saturated airs is a mist (mixing on
    the psychrometric chart, ASHRAE Fundamentals ch. 1): the coldest exhaust is that over leaf as
    it came, the warmest that at the inlet's wet bulb.
    """
    cold = min(run.ambient_c, run.leaf_c)
    warm = max(air.wet_bulb_c(zone.inlet_c, zone.inlet_humidity_ratio, run.pressure_pa), run.leaf_c)
    share = np.linspace(0.0, 1.0, 101)
    w = sum(
        part * air.humidity_ratio(t, 1.0, run.pressure_pa)
        for part, t in ((1.0 - share, cold), (share, warm))
    )
    h = sum(
        part * air.enthalpy_j_kg(t, air.humidity_ratio(t, 1.0, run.pressure_pa))
        for part, t in ((1.0 - share, cold), (share, warm))
    )
    mixed_c = air.dry_bulb_from_enthalpy_c(h, w)
    return float(np.max(air.relative_humidity(mixed_c, w, run.pressure_pa)))


LOADING_KG_M2 = st.floats(0.5, 60.0)  # to twice what a belt floods at


@settings(deadline=None, max_examples=50)
@given(heated_zones(), runs(), LOADING_KG_M2, st.integers(2, 9), st.integers(12, 40))
def test_belts_close(zones, run, loading, layers, steps):
    area = run.feed_kg_h * run.residence_h / loading
    closes(dry.BeltDryer(area, zones, layers=layers, steps=steps), run)


# A start in frost with nearly all exhaust recirculated: cold and warm exhaust mix to a mist.
FROSTY = dry.DryRun(
    leaf_id="nori_sheet",
    moisture_wb=0.875,
    residence_h=0.25,
    feed_kg_h=5.0,
    mass_kg=20.0,
    ambient_c=0.0,
    ambient_rh=1.0,
    leaf_c=0.0,
)
MISTY = (
    dry.Zone(1.0 / 3.0, 60.0, 0.25, recirculated=0.97),
    dry.Zone(1.0 / 3.0, 45.0, 1.0),
    dry.Zone(1.0 / 3.0, 45.0, 1.0),
)


@pytest.mark.slow
@settings(deadline=None, max_examples=25)
@example(MISTY, FROSTY, 20.0)
@given(heated_zones(), runs(), LOADING_KG_M2)
def test_trays_close(zones, run, loading):
    closes(dry.TrayDryer(run.mass_kg / loading, zones), run)


@pytest.mark.slow
@settings(deadline=None, max_examples=25)
@given(heated_zones(60.0, 140.0), runs(), LOADING_KG_M2, st.sampled_from(["plug", "mixed"]))
def test_fluid_beds_close(zones, run, loading, mixing):
    area = run.feed_kg_h * run.residence_h / loading
    closes(dry.FluidBed(area, zones, mixing=mixing, steps=15), run)


@settings(deadline=None, max_examples=15)
@given(runs(), LOADING_KG_M2, st.floats(0.1, 2.0))
def test_a_cooling_zone_closes(run, loading, velocity):
    zones = (dry.Zone(0.7, 70.0, 1.0, 0.5), dry.Zone(0.3, None, velocity))
    area = run.feed_kg_h * run.residence_h / loading
    result = closes(dry.BeltDryer(area, zones), run)
    assert result.zones[1].heat_kwh == pytest.approx(0.0, abs=1e-9)


def test_heat_is_what_the_streams_took_up():
    """By hand: heat before losses = fresh air to exhaust plus leaf in to leaf out."""
    zone = dry.Zone(1.0, 70.0, 0.8, 0.8)
    dryer = dry.BeltDryer(20.0, (zone,), heater=dry.Heater(0.5, 0.2, "lpg"))
    run = dry.DryRun("wakame_blade", 0.88, 1.0, feed_kg_h=150.0, mass_kg=600.0)
    result = dry.simulate(dryer, run)
    z = result.zones[0]
    assert result.heat_kwh == pytest.approx(z.heat_kwh / 0.8, rel=1e-12)
    assert result.fuel_kg == pytest.approx(3.6 * result.heat_kwh / 0.5 / 46.0, rel=1e-12)
    assert result.duration_h == pytest.approx(600.0 / 150.0 + 1.0)
    fan_j = z.dry_air_kg / 1.2 * z.pressure_drop_pa / 0.55  # about: 1 kg dry air is some 1 m3
    assert result.electricity_kwh == pytest.approx(fan_j / 3.6e6, rel=0.35)
    none = replace(dryer, heater=dry.Heater(fuel=None))
    assert dry.simulate(none, run).fuel_kg == 0.0


def test_an_hour_of_feed_is_the_lot_when_none_is_named():
    dryer = dry.BeltDryer(20.0, (dry.Zone(1.0, 60.0, 0.8),))
    run = dry.DryRun("sugar_kelp_blanched", 0.9, 1.0, feed_kg_h=150.0)
    hour, day = dry.simulate(dryer, run), dry.simulate(dryer, replace(run, mass_kg=1500.0))
    assert hour.mass_in_kg == 150.0
    assert day.heat_kwh == pytest.approx(10 * hour.heat_kwh, rel=1e-12)
    assert day.moisture_wb_out == hour.moisture_wb_out
