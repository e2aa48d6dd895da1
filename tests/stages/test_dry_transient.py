"""Start-up and feed gaps: the march in time ends at the steady solution and loses nothing."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf import leaf
from wareleaf.air import humidity_ratio, wet_bulb_c
from wareleaf.measure import BadInput
from wareleaf.stages import dry

BELT = dry.BeltDryer(
    40.0,
    (
        dry.Zone(0.4, 70.0, 1.0, 0.6, "up"),
        dry.Zone(0.35, 65.0, 0.8, 0.7, "down"),
        dry.Zone(0.25, 55.0, 0.6, 0.3, "up", remix=True),
    ),
    layers=6,
    steps=20,
)
UNEVEN = replace(
    BELT,
    zones=tuple(replace(z, share=s) for z, s in zip(BELT.zones, (0.31, 0.4, 0.29), strict=True)),
)
RUN = dry.DryRun("sugar_kelp_blanched", 0.90, 2.5, feed_kg_h=300.0)


@pytest.mark.parametrize("belt", [BELT, UNEVEN])
def test_start_up_ends_at_the_steady_solution(belt):
    made = dry.transient(belt, RUN, 15.0)
    assert made.moisture_wb_out[-1] == pytest.approx(made.moisture_wb_steady, rel=1e-4)
    alone = dry.simulate(belt, RUN, with_spread=False)
    assert made.moisture_wb_steady == alone.moisture_wb_out
    for series, zone in zip(made.exhaust_c, alone.zones, strict=True):
        assert series[-1] == pytest.approx(zone.exhaust_c, abs=0.01)
    assert made.leaf_temperature_max_c[-1] == pytest.approx(alone.leaf_temperature_max_c, abs=0.05)


@pytest.mark.parametrize("belt", [BELT, UNEVEN])
def test_a_running_belt_stays_where_it_is(belt):
    made = dry.transient(belt, RUN, 3.0, running=True)
    out = np.array(made.moisture_wb_out)
    assert np.abs(out / made.moisture_wb_steady - 1.0).max() < 1e-4
    assert made.wet_kg == made.dry_kg == 0.0


@pytest.mark.slow
@settings(deadline=None, max_examples=15)
@given(
    st.sampled_from(leaf.profile_ids()),
    st.sampled_from([BELT, UNEVEN]),
    st.booleans(),
    st.floats(0.3, 0.93),
    st.floats(0.3, 3.0),
    st.floats(0.0, 1.5),
    st.sampled_from([None, 20.0]),
    st.sampled_from(["indirect", "direct"]),
)
def test_water_and_energy_are_kept_in_time(leaf_id, belt, running, wet, hours, gap, coil, kind):
    zones = tuple(replace(z, coil_c=coil) for z in belt.zones)
    run = replace(RUN, leaf_id=leaf_id, moisture_wb=wet, residence_h=hours)
    heater = dry.Heater(0.9, 0.1, "lpg", kind)
    belt = replace(belt, zones=zones, heater=heater, layers=3, steps=10)
    made = dry.transient(belt, run, 2.5 * hours, ((gap * hours, (gap + 0.4) * hours),),
                         running=running)  # fmt: skip
    assert made.water_residual < 1e-9
    assert made.energy_residual < 1e-9
    # hottest air: 70 degC, and what a dry, hygroscopic leaf warms it by taking its water up
    assert max(made.leaf_temperature_max_c) < 70.0 + 1e-6 + 5.0
    # nothing is colder than the feed, or the wet bulb of the coldest set point in ambient air
    ambient = float(humidity_ratio(run.ambient_c, run.ambient_rh))
    floor = min(run.ambient_c, float(wet_bulb_c(55.0, ambient)))
    assert min(min(zone) for zone in made.exhaust_c) > floor - 0.05
    assert 0.0 < min(made.moisture_wb_out) <= max(made.moisture_wb_out) < 0.95


@pytest.mark.slow
@settings(deadline=None, max_examples=8)
@given(st.sampled_from(leaf.profile_ids()), st.floats(0.5, 0.92), st.floats(0.5, 2.0))
def test_a_start_up_is_never_wetter_than_steady_and_a_hotter_belt_dries_further(
    leaf_id, wet, hours
):
    """The first leaf meets drier return air than any later one; monotone in time and in heat."""
    once = replace(
        BELT, layers=3, steps=10, zones=tuple(replace(z, recirculated=0.5) for z in BELT.zones)
    )
    run = replace(RUN, leaf_id=leaf_id, moisture_wb=wet, residence_h=hours, ambient_rh=0.5)
    made = dry.transient(once, run, 4.0 * hours)
    full = np.array(made.load) > 0.99
    assert np.array(made.moisture_wb_out)[full].max() < made.moisture_wb_steady + 1e-4
    hot = replace(once, zones=tuple(replace(z, inlet_c=z.inlet_c + 10.0) for z in once.zones))
    warmer = dry.transient(hot, run, 4.0 * hours)
    assert warmer.moisture_wb_out[-1] < made.moisture_wb_out[-1] + 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("back", [0.0, 0.6])
def test_a_direct_flame_settles_at_its_steady_solution(back):
    """Empty to steady, each zone with the vapour that its own heat makes."""
    zones = tuple(replace(z, recirculated=back) for z in UNEVEN.zones)
    belt = replace(UNEVEN, zones=zones, heater=dry.Heater(0.9, 0.1, "lpg", "direct"))
    made = dry.transient(belt, RUN, 15.0)
    alone = dry.simulate(belt, RUN, with_spread=False)
    plain = dry.simulate(replace(belt, heater=dry.Heater()), RUN, with_spread=False)
    assert made.moisture_wb_out[-1] == pytest.approx(alone.moisture_wb_out, rel=1e-4)
    assert made.moisture_wb_out[-1] > plain.moisture_wb_out + 1e-4
    assert max(made.water_residual, made.energy_residual) < 1e-9


def test_nothing_leaves_before_the_belt_has_gone_round():
    made = dry.transient(BELT, RUN, 6.0)
    time_h, load = np.array(made.time_h), np.array(made.load)
    assert load[time_h < 2.5 - 1e-6].max() < 1e-3
    assert load[time_h > 2.7].min() > 0.99


def test_a_gap_over_dries_its_edges_and_comes_out_a_belt_time_later():
    """Neighbours of an empty stretch get drier return air (direction: common practice, no source;
    the amount, 0.13 points of moisture here, is the model's own)."""
    made = dry.transient(BELT, RUN, 8.0, ((1.0, 2.0),), running=True, tolerance_wb=0.0005)
    time_h, load, out = (np.array(v) for v in (made.time_h, made.load, made.moisture_wb_out))
    empty = time_h[load < 0.5]
    assert empty.min() == pytest.approx(3.6, abs=0.3)
    assert empty.max() == pytest.approx(4.5, abs=0.3)
    assert made.dry_kg > 1.0
    assert made.wet_kg == 0.0
    edge = out[(load > 0.5) & (time_h > 3.0) & (time_h < 5.5)]
    assert edge.min() < made.moisture_wb_steady - 0.0005
    assert out[-1] == pytest.approx(made.moisture_wb_steady, rel=1e-4)


def test_product_of_a_long_run_is_the_feed_s_dry_matter():
    made = dry.transient(BELT, RUN, 20.0)
    each = made.time_h[0]
    dry_kg = sum(
        kg * each * (1.0 - wb)
        for kg, wb in zip(made.product_kg_h, made.moisture_wb_out, strict=True)
    )
    assert dry_kg == pytest.approx(30.0 * (20.0 - 2.5), rel=0.01)


def test_bad_asks_are_refused():
    with pytest.raises(BadInput, match="hours"):
        dry.transient(BELT, RUN, -1.0)
    with pytest.raises(BadInput, match="belt"):
        dry.transient(dry.FluidBed(10.0, (dry.Zone(1.0, 90.0, 1.5),)), RUN, 1.0)
    with pytest.raises(BadInput, match=r"Gap 2 is from 1.5 to 1 h; it must start within the 2 h"):
        dry.transient(BELT, RUN, 2.0, ((0.2, 0.4), (1.5, 1.0)))
