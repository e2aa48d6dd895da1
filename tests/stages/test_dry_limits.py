"""Drying at its limits: what must happen when there is no air, no hunger for water, or all time."""

from dataclasses import replace

import pytest

from wareleaf import leaf
from wareleaf.air import humidity_ratio, wet_bulb_c
from wareleaf.measure import BadInput, moisture_db_from_wb
from wareleaf.stages import dry

BELT = dry.BeltDryer(
    20.0,
    (
        dry.Zone(0.6, 60.0, 0.8, 0.0, "up"),
        dry.Zone(0.4, 55.0, 0.6, 0.0, "down", remix=True),
    ),
)
KELP = dry.DryRun("sugar_kelp_blanched", 0.9, 2.0, feed_kg_h=120.0, ambient_c=12.0, ambient_rh=0.8)


def one(inlet_c, velocity=0.8, recirculated=0.0, **more):
    return replace(BELT, zones=(dry.Zone(1.0, inlet_c, velocity, recirculated),), **more)


def out(dryer, run):
    return dry.simulate(dryer, run, with_spread=False)


def test_no_air_no_drying():
    result = out(one(60.0, velocity=0.0), KELP)
    assert result.moisture_wb_out == pytest.approx(0.9)
    assert result.water_removed_kg == pytest.approx(0.0, abs=1e-12)
    assert result.heat_kwh == 0.0
    assert any("no air" in w for w in result.warnings)


def test_saturated_unheated_air_does_not_dry():
    result = out(one(None), replace(KELP, ambient_rh=1.0))
    assert result.moisture_wb_out == pytest.approx(0.9, abs=1e-4)


def test_all_time_in_the_world_comes_to_equilibrium_with_the_inlet_air():
    run = replace(KELP, residence_h=400.0, feed_kg_h=0.5)
    result = out(one(50.0, time_max_h=500.0, steps=400), run)
    profile = leaf.profile(run.leaf_id)
    w = humidity_ratio(12.0, 0.8)
    activity = (
        w / humidity_ratio(50.0, 1.0) * (0.621945 + humidity_ratio(50.0, 1.0)) / (0.621945 + w)
    )
    xe = leaf.equilibrium_moisture_db(profile, activity, 50.0)
    assert moisture_db_from_wb(result.moisture_wb_out) == pytest.approx(xe, rel=0.01)


def test_dry_leaf_in_damp_air_takes_water_back_and_no_more_than_its_equilibrium():
    damp = replace(KELP, moisture_wb=0.05, ambient_c=25.0, ambient_rh=0.85, residence_h=6.0)
    result = out(one(None), damp)
    adsorbed = balance(25.0, 0.85, "adsorption")
    assert 0.05 < result.moisture_wb_out < 0.5
    assert moisture_db_from_wb(result.moisture_wb_out) < adsorbed
    assert result.water_removed_kg < 0.0
    assert result.water_residual < 1e-6
    assert result.heat_mj_per_kg_water == 0.0
    soaked = out(one(None, steps=200), replace(damp, rate_multiplier=20.0, feed_kg_h=5.0))
    assert moisture_db_from_wb(soaked.moisture_wb_out) == pytest.approx(adsorbed, rel=0.01)


def balance(dry_bulb_c, humidity, branch):
    profile = leaf.profile(KELP.leaf_id)
    return float(leaf.equilibrium_moisture_db(profile, humidity, dry_bulb_c, branch))


def test_between_the_branches_leaf_neither_dries_nor_takes_water_back():
    """Hysteresis: leaf inside the loop of its two isotherms keeps its water."""
    low, high = balance(25.0, 0.7, "adsorption"), balance(25.0, 0.7, "desorption")
    middle = 0.5 * (low + high)
    still = replace(
        KELP, moisture_wb=middle / (1.0 + middle), ambient_c=25.0, ambient_rh=0.7, residence_h=6.0
    )
    result = out(one(None), still)
    assert result.moisture_wb_out == pytest.approx(still.moisture_wb, rel=1e-9)
    assert out(one(None), replace(still, moisture_wb=0.4)).moisture_wb_out < 0.4


def test_behind_a_cold_damp_zone_the_quicker_leaf_is_the_wetter_one():
    """A higher rate brings leaf nearer to the balance with its air, both ways and never past it.

    In the hot zones quicker is drier; in the last, at 12 degC and 95 %, it takes more water back.
    Uptake ends at the adsorption branch of that air.
    """
    hot = (dry.Zone(0.5, 70.0, 1.0), dry.Zone(0.3, 65.0, 0.8))
    damp = replace(KELP, ambient_rh=0.95, feed_kg_h=30.0, residence_h=5.0)
    ends, dried = [], []
    for rate in (1.0, 2.0, 4.0, 16.0):
        run = replace(damp, rate_multiplier=rate)
        cold = out(replace(BELT, zones=(*hot, dry.Zone(0.2, None, 0.6)), steps=120), run)
        dried.append(cold.zones[1].moisture_wb_out)
        ends.append(moisture_db_from_wb(cold.moisture_wb_out))
        assert max(cold.water_residual, cold.energy_residual) < 1e-6
    assert dried == sorted(dried, reverse=True)
    assert ends == sorted(ends)
    assert ends[0] > moisture_db_from_wb(dried[0])
    assert ends[-1] <= balance(12.0, 0.95, "adsorption") * (1.0 + 1e-3)


def test_cold_leaf_in_humid_air_gathers_dew_before_it_dries():
    """At 5 degC the feed is far below the dew point of a zone that runs on its own exhaust."""
    run = replace(KELP, leaf_c=1.0, residence_h=1.0, feed_kg_h=200.0)
    dryer = one(60.0, 0.6, 0.95, steps=400)
    result = out(dryer, run)
    assert max(result.curve_moisture_wb) > 0.9
    assert result.moisture_wb_out < 0.9
    assert result.energy_residual < 1e-6


def test_hot_leaf_in_a_cooler_damp_zone_drains():
    """Return air that hot leaf drives past saturation at the set point drips, and all closes."""
    zones = (dry.Zone(0.5, 90.0, 2.0), dry.Zone(0.5, 40.0, 0.25, 0.95))
    run = dry.DryRun("sugar_kelp_raw", 0.75, 0.06, mass_kg=20.0, ambient_c=0.0, ambient_rh=1.0)
    result = out(dry.TrayDryer(2.0, zones), run)
    assert result.zones[1].drained_kg > 0.0
    assert max(result.water_residual, result.energy_residual) < 1e-6
    assert any("cannot hold" in w for w in result.warnings)


def test_leaf_stays_between_wet_bulb_and_hottest_air():
    result = out(BELT, KELP)
    wet = wet_bulb_c(60.0, humidity_ratio(12.0, 0.8))
    assert result.leaf_temperature_max_c <= result.air_temperature_max_c + 1e-9
    assert result.air_temperature_max_c <= 60.0 + 1e-6
    late = [c for t, c in zip(result.curve_time_h, result.curve_leaf_c, strict=True) if t > 0.3]
    assert min(late) > wet - 0.05


def test_wet_leaf_sits_at_the_wet_bulb():
    """Constant-rate period: a leaf whose inside gives water freely is at the wet bulb."""
    run = replace(KELP, rate_multiplier=20.0, residence_h=1.0, feed_kg_h=100.0)
    result = out(one(60.0, exposure=0.02, steps=100), run)
    wet = wet_bulb_c(60.0, humidity_ratio(12.0, 0.8))
    middle = result.curve_leaf_c[len(result.curve_leaf_c) // 2]
    assert middle == pytest.approx(wet, abs=0.7)


@pytest.mark.parametrize(
    ("less", "more"),
    [
        ((one(50.0), KELP), (one(60.0), KELP)),
        ((one(60.0, 0.4), KELP), (one(60.0, 0.8), KELP)),
        (
            (one(60.0), replace(KELP, residence_h=1.0, feed_kg_h=240.0)),
            (one(60.0), replace(KELP, residence_h=2.0, feed_kg_h=120.0)),
        ),
        ((one(60.0, 0.8, 0.9), KELP), (one(60.0, 0.8, 0.5), KELP)),
        ((one(60.0), replace(KELP, ambient_c=25.0)), (one(60.0), replace(KELP, ambient_c=5.0))),
        ((one(60.0), replace(KELP, rate_multiplier=0.8)), (one(60.0), KELP)),
        ((one(60.0), replace(KELP, feed_kg_h=200.0)), (one(60.0), KELP)),
    ],
    ids=[
        "hotter",
        "more air",
        "longer",
        "less recirculated",
        "drier air",
        "quicker leaf",
        "less feed",
    ],
)
def test_dries_further_when(less, more):
    assert out(*more).moisture_wb_out < out(*less).moisture_wb_out - 1e-4


def test_remixing_evens_the_layers():
    plain = replace(BELT, zones=(BELT.zones[0], replace(BELT.zones[1], remix=False)))
    spread_of = [
        max(r.moisture_wb_layers) - min(r.moisture_wb_layers)
        for r in (
            out(plain, KELP),
            out(
                replace(BELT, zones=(BELT.zones[0], replace(BELT.zones[1], velocity_m_s=0.0))),
                KELP,
            ),
        )
    ]
    assert spread_of[1] < 1e-12  # remixed, then nothing happens
    assert spread_of[0] > 1e-4


def test_reversing_the_air_dries_the_other_side():
    up = out(one(60.0), KELP).moisture_wb_layers
    down = out(replace(BELT, zones=(dry.Zone(1.0, 60.0, 0.8, 0.0, "down"),)), KELP)
    assert up[0] < up[-1]
    assert down.moisture_wb_layers == pytest.approx(up[::-1], rel=1e-9)


def test_trays_are_the_belt_seen_from_the_leaf():
    """A tray with the same load for the same time under once-through air is the belt."""
    belt = out(one(60.0), KELP)
    tray = dry.TrayDryer(BELT.area_m2, one(60.0).zones)
    batch = out(tray, replace(KELP, mass_kg=belt.loading_kg_m2 * BELT.area_m2))
    assert batch.moisture_wb_out == pytest.approx(belt.moisture_wb_out, rel=1e-12)
    assert batch.duration_h == KELP.residence_h


def test_a_mixed_bed_lags_a_plug_flow_bed():
    """Some leaf leaves a tank early: at the same mean time it comes out wetter."""
    plug = dry.FluidBed(4.0, (dry.Zone(1.0, 110.0, 1.4),))
    run = dry.DryRun("tea_black", 0.65, 0.3, feed_kg_h=300.0, ambient_c=25.0)
    mixed = out(replace(plug, mixing="mixed"), run)
    assert mixed.moisture_wb_out > out(plug, run).moisture_wb_out
    assert max(mixed.water_residual, mixed.energy_residual) < 1e-9


def test_many_tanks_come_near_plug_flow():
    tenth = tuple(dry.Zone(0.05, 110.0, 1.4) for _ in range(20))
    run = dry.DryRun("tea_black", 0.65, 0.3, feed_kg_h=300.0, ambient_c=25.0)
    tanks = dry.FluidBed(4.0, tenth, mixing="mixed")
    one_tank = out(replace(tanks, zones=(dry.Zone(1.0, 110.0, 1.4),)), run).moisture_wb_out
    plug = out(dry.FluidBed(4.0, tenth), run).moisture_wb_out
    assert abs(out(tanks, run).moisture_wb_out - plug) < 0.25 * abs(one_tank - plug)


def test_warnings_speak_up():
    flood = out(one(60.0), replace(KELP, feed_kg_h=400.0))
    assert any("floods" in w for w in flood.warnings)
    assert any("loses quality" in w for w in out(one(90.0), KELP).warnings)
    wet = out(one(40.0), replace(KELP, residence_h=0.2))
    assert any("does not store" in w for w in wet.warnings)
    bed = dry.FluidBed(4.0, (dry.Zone(0.5, 120.0, 0.3), dry.Zone(0.5, 120.0, 4.0)))
    tea = out(bed, dry.DryRun("tea_black", 0.6, 0.3, feed_kg_h=300.0, ambient_c=25.0))
    assert any("does not lift" in w for w in tea.warnings)
    assert any("blow over" in w for w in tea.warnings)
    stew = out(
        one(60.0, 0.3, area_m2=5.0),
        dry.DryRun("tea_black", 0.6, 0.3, feed_kg_h=300.0, ambient_c=25.0),
    )
    assert any("stews" in w for w in stew.warnings)
    humid = out(one(60.0, 0.4, 0.97), replace(KELP, feed_kg_h=280.0, rate_multiplier=2.0))
    assert any("nearly saturated" in w for w in humid.warnings)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: dry.Zone(0.0, 60.0, 1.0), "share"),
        (lambda: dry.Zone(1.0, 60.0, 1.0, 1.0), "recirculated"),
        (lambda: dry.Zone(1.0, 180.0, 1.0), "inlet_c"),
        (lambda: dry.Zone(1.0, None, 1.0, 0.5), "recirculated"),
        (lambda: dry.Zone(1.0, 60.0, 1.0, 0.0, "sideways"), "direction"),
        (lambda: dry.Heater(fuel="peat"), "fuel"),
        (lambda: dry.BeltDryer(20.0, ()), "zones"),
        (lambda: dry.BeltDryer(20.0, (dry.Zone(0.5, 60.0, 1.0),)), "zones"),
        (lambda: dry.FluidBed(4.0, BELT.zones, mixing="some"), "mixing"),
        (lambda: replace(KELP, moisture_wb=1.3), "moisture_wb"),
        (lambda: replace(KELP, moisture_wb=float("nan")), "moisture_wb"),
        (lambda: replace(KELP, residence_h=0.0), "residence_h"),
        (lambda: out(BELT, replace(KELP, feed_kg_h=0.0)), "feed_kg_h"),
        (lambda: out(dry.TrayDryer(4.0, BELT.zones), KELP), "mass_kg"),
        (lambda: out(one(10.0), KELP), "inlet_c"),
        (lambda: out(BELT, replace(KELP, leaf_id="oak")), "leaf"),
    ],
)
def test_bad_input_names_the_field(make, field):
    with pytest.raises(BadInput) as caught:
        make()
    assert caught.value.problems[0].field == field
