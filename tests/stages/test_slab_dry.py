"""A blade in moving air: limits, closed forms, conservation on random blades, printed cases."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from wareleaf import air, leaf
from wareleaf.measure import BadInput
from wareleaf.stages import slab
from wareleaf.stages._slab_surface import Surface, surface_of
from wareleaf.stages.slab_air import SlabAir, chilton_colburn_factor, plate_w_m2_k
from wareleaf.stages.slab_blade import Blade, BladeRun
from wareleaf.stages.slab_dry import hours_to, simulate

TEA = Blade("tea_black", half_thickness_m=2.5e-4)
FRESH = BladeRun(0.80, 2.0)
WARM = SlabAir((60.0,), (0.10,))


def test_wet_leaf_sits_at_the_wet_bulb_until_its_face_dries_out():
    """The thermodynamic wet bulb, to 0.02 K; then the leaf warms to the air and never passes it."""
    loose = replace(TEA, diffusivity_m2_s=1e-8, activation_j_mol=0.0)
    found = simulate(loose, replace(FRESH, moisture_wb=0.9, leaf_temperature_c=27.0), WARM)
    wet = float(air.wet_bulb_c(60.0, air.humidity_ratio(60.0, 0.10)))
    middle = int(np.searchsorted(found.time_h, 0.5 * found.constant_rate_h))
    assert found.constant_rate_h > 0.2
    assert found.leaf_c[middle] == pytest.approx(wet, abs=0.02)
    assert found.leaf_c[-1] == pytest.approx(60.0, abs=0.1)
    assert found.leaf_c.max() <= 60.0 + 1e-5


def test_the_constant_rate_of_a_wet_pan():
    """Geankoplis 3e, example 9.6-3 (from memory): air of 65.6 degC, H 0.010, h 62.45 W/(m2 K): the
    wet bulb is 28.9 degC and the rate 3.39 kg/(h m2). The book reads its wet bulb off a chart and
    takes latent heat there: 2 %.
    """
    humidity = float(air.relative_humidity(65.6, 0.010))
    pan = replace(TEA, half_thickness_m=0.01, diffusivity_m2_s=1e-6, activation_j_mol=0.0)
    found = simulate(
        pan,
        BladeRun(0.9, 1.0, 28.9),
        SlabAir((65.6,), (humidity,), heat_transfer_w_m2_k=62.45),
    )
    assert found.leaf_c[30] == pytest.approx(28.9, abs=0.3)
    assert found.rate_kg_h_m2[30] == pytest.approx(3.39, rel=0.02)


def test_a_plate_in_the_wind():
    """Geankoplis 3e, example 4.6-1 (from memory): 51 mm plate, 12.2 m/s, film 48.9 degC: 60.7."""
    assert plate_w_m2_k(12.2, 0.051, 48.9) == pytest.approx(60.7, rel=0.02)
    assert plate_w_m2_k(4.0, 0.1, 40.0) == pytest.approx(2.0 * plate_w_m2_k(1.0, 0.1, 40.0))
    # Above the transition the mixed layer gives more than a laminar one would.
    assert plate_w_m2_k(20.0, 2.0, 40.0) > 1.5 * math.sqrt(20.0) * plate_w_m2_k(1.0, 2.0, 40.0)


def test_by_chilton_and_colburn_the_wet_leaf_is_a_little_colder():
    loose = replace(TEA, diffusivity_m2_s=1e-8, activation_j_mol=0.0)
    run = replace(FRESH, moisture_wb=0.9)
    lewis = simulate(loose, run, WARM)
    other = simulate(loose, run, replace(WARM, lewis_factor=chilton_colburn_factor()))
    at = int(np.searchsorted(lewis.time_h, 0.5 * lewis.constant_rate_h))
    assert 0.2 < lewis.leaf_c[at] - other.leaf_c[at] < 1.5


def test_a_tight_outside_is_the_fixed_surface_of_crank():
    """Large Biot number: the face at equilibrium with the air, the leaf as warm as the air."""
    blade = Blade("tea_black", 1e-3, 2e-10, 0.0, cells=60)
    blast = SlabAir((60.0,), (0.2,), heat_transfer_w_m2_k=5e4)
    found = simulate(blade, BladeRun(0.6, 3.0, 60.0), blast)
    end = float(leaf.equilibrium_moisture_db(leaf.profile("tea_black"), 0.2, 60.0))
    exact = slab.series(slab.Slab(1e-3, 2e-10), 1.5, end, found.time_h)
    assert found.biot_moisture > 100.0
    assert np.abs(found.mean_db - exact)[4:].max() < 0.003 * 1.5


def test_a_loose_outside_is_a_lumped_leaf():
    """Small Biot number: one moisture and one temperature, against SciPy on those two alone."""
    blade = replace(TEA, diffusivity_m2_s=1e-6, activation_j_mol=0.0)
    spec = SlabAir((45.0,), (0.3,), heat_transfer_w_m2_k=20.0)
    found = simulate(blade, BladeRun(0.7, 1.5, 30.0), spec)
    profile = leaf.profile("tea_black")
    dry = 1.5 * 998.0 / (1.0 + 1.5 * (0.7 / 0.3)) * 2.5e-4
    ratio = float(air.humidity_ratio(45.0, 0.3))
    give = 20.0 / (air.CP_DRY_AIR_J_KG_K + air.CP_VAPOUR_J_KG_K * ratio)

    def slope(_t, y):
        x, c = y
        aw = min(float(leaf.water_activity(profile, x, c)), 1.0)
        water = give * (float(air.humidity_ratio(c, aw)) - ratio)
        q = max(float(leaf.net_isosteric_heat_j_kg(profile, x, 50.0)), 0.0)
        latent = air.LATENT_HEAT_0C_J_KG + (air.CP_VAPOUR_J_KG_K - air.CP_WATER_J_KG_K) * c + q
        heat = dry * float(leaf.specific_heat_j_kg_k(profile, x, 50.0))
        return [-water / dry, (20.0 * (45.0 - c) - water * latent) / heat]

    end = solve_ivp(slope, (0.0, 5400.0), [0.7 / 0.3, 30.0], "LSODA", rtol=1e-7,
                    t_eval=found.time_h * 3600.0)  # fmt: skip
    assert found.biot_moisture < 0.01
    assert found.mean_db == pytest.approx(end.y[0], abs=0.003 * 0.7 / 0.3)
    assert found.leaf_c == pytest.approx(end.y[1], abs=0.25)


class StraightIsotherm(Surface):
    """Water activity in proportion to moisture, no heat of sorption, leaf too heavy to cool."""

    def __init__(self, per_moisture):
        real = surface_of("tea_black", 101325.0)
        props = replace(
            real.props, heat_dry=1e12, heat_water=0.0, binding_heat=0.0 * real.props.binding_heat
        )
        super().__init__(real.activity_table, props)
        self.per_moisture = per_moisture

    def activity(self, moisture_db, temperature_c):
        return self.per_moisture * moisture_db


@pytest.mark.parametrize("biot", [0.3, 2.0, 20.0])
def test_a_straight_isotherm_is_crank_with_a_surface_resistance(biot):
    """Crank's series with the roots of b tan b = L; 0.2 % of the start with 60 cells."""
    start, half, diffusivity, per = 1.5, 1e-3, 2e-10, 1e-3
    surface = StraightIsotherm(per)
    solids = 1.5 * 998.0 / (1.0 + 1.5 * start)
    slope = 0.621945 * per * surface.saturated_pa(20.0) / 101325.0  # dW/dX, W << 1
    heat = biot * diffusivity / half * solids / slope * air.CP_DRY_AIR_J_KG_K
    found = simulate(
        Blade("tea_black", half, diffusivity, 0.0, cells=60),
        BladeRun(0.6, 3.0 / min(1.0, biot), 20.0),
        SlabAir((20.0,), (0.0,), heat_transfer_w_m2_k=heat),
        surface=surface,
    )
    exact = slab.series(
        slab.Slab(half, diffusivity, surface_m_s=biot * diffusivity / half), start, 0.0,
        found.time_h,
    )  # fmt: skip
    assert np.abs(found.mean_db - exact)[2:].max() < 0.002 * start


@pytest.mark.parametrize("biot", [0.3, 2.0, 20.0])
def test_uptake_is_crank_by_the_adsorption_branch(biot):
    """Crank's series for a sheet that takes up, with the slope of the branch it gains by.

    The other branch ends half as high again and has another Biot number: it would miss by far.
    """
    half, diffusivity, per, dry = 1e-3, 2e-10, 1e-3, 0.25
    end, steeper = 0.9, 1.5  # activity of gaining leaf over that of drying leaf, straight lines

    class Gaining(StraightIsotherm):
        def gaining_activity(self, moisture_db, temperature_c):
            return steeper * self.per_moisture * moisture_db

    surface = Gaining(per)
    solids = 1.5 * 998.0 / (1.0 + 1.5 * dry)
    vapour = surface.saturated_pa(20.0)
    slope = 0.621945 * steeper * per * vapour / 101325.0  # dW/dX, W << 1
    heat = biot * diffusivity / half * solids / slope * air.CP_DRY_AIR_J_KG_K
    humidity = steeper * per * end
    found = simulate(
        Blade("tea_black", half, diffusivity, 0.0, cells=60),
        BladeRun(dry / (1.0 + dry), 3.0 / min(1.0, biot), 20.0),
        SlabAir((20.0,), (humidity,), heat_transfer_w_m2_k=heat),
        surface=surface,
    )
    exact = slab.series(
        slab.Slab(half, diffusivity, surface_m_s=biot * diffusivity / half), dry, end,
        found.time_h,
    )  # fmt: skip
    assert np.abs(found.mean_db - exact)[2:].max() < 0.002 * (end - dry)
    assert np.all(np.diff(found.mean_db) >= -1e-6)
    assert found.mean_db[-1] < 1.01 * end  # by the drying branch half as much again


BRANCHES = ("desorption", "adsorption")


def branches(leaf_id, humidity, celsius):
    profile = leaf.profile(leaf_id)
    most, least = (
        float(leaf.equilibrium_moisture_db(profile, humidity, celsius, b)) for b in BRANCHES
    )
    return most, min(least, most)


def apart():
    """A leaf, air and its two equilibria, well apart."""
    leaf_id, humidity, celsius = "tea_black", 0.6, 25.0
    most, least = branches(leaf_id, humidity, celsius)
    assert most > 1.02 * least
    return leaf_id, humidity, celsius, most, least


def test_a_blade_between_the_branches_keeps_its_water():
    leaf_id, humidity, celsius, most, least = apart()
    middle = 0.5 * (most + least)
    start = BladeRun(middle / (1.0 + middle), 6.0, celsius)
    found = simulate(Blade(leaf_id), start, SlabAir((celsius,), (humidity,)))
    assert found.mean_db == pytest.approx(middle, rel=1e-4)
    assert found.equilibrium_wb == pytest.approx(middle / (1.0 + middle))
    assert not any("takes up water" in w for w in found.warnings)


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_blade_that_gains_ends_at_the_adsorption_branch(share):
    leaf_id, humidity, celsius, _, least = apart()
    first = share * least
    run = BladeRun(first / (1.0 + first), 60.0, celsius)
    found = simulate(Blade(leaf_id), run, SlabAir((celsius,), (humidity,)))
    assert found.mean_db[-1] == pytest.approx(least, rel=0.02)
    assert found.equilibrium_wb == pytest.approx(least / (1.0 + least))
    assert any("takes up water" in w for w in found.warnings)


def test_leaf_that_was_dried_and_wetted_again_ends_under_leaf_that_was_never_dried():
    """Hysteresis: the way there counts, though the last air is the same."""
    leaf_id, humidity, celsius, most, least = apart()
    wet = 1.6 * most
    run = BladeRun(wet / (1.0 + wet), 120.0, celsius)
    straight = simulate(Blade(leaf_id), run, SlabAir((celsius,), (humidity,)))
    there_and_back = SlabAir((celsius,) * 2, (0.15, humidity), (0.0, 60.0))
    back = simulate(Blade(leaf_id), run, there_and_back)
    assert straight.mean_db[-1] == pytest.approx(most, rel=0.02)
    assert back.mean_db[-1] < straight.mean_db[-1] - 0.5 * (most - least)


def test_air_that_takes_nothing_is_said():
    leaf_id, humidity, celsius, most, least = apart()
    start = 0.5 * (most + least) / (1.0 + 0.5 * (most + least))
    with pytest.raises(BadInput, match="takes no water from leaf"):
        hours_to(Blade(leaf_id), BladeRun(start, 2.0), SlabAir((celsius,), (humidity,)), 0.02)


@settings(deadline=None, max_examples=25)
@given(
    leaf_id=st.sampled_from(["tea_black", "sugar_kelp_blanched", "wakame_blade"]),
    humidity=st.floats(0.1, 0.85),
    celsius=st.floats(5.0, 60.0),
    share=st.floats(0.1, 2.0),
    half=st.floats(5e-5, 1e-3),
    velocity=st.floats(0.2, 4.0),
)
def test_moisture_goes_one_way_to_its_own_branch_and_never_past_it(
    leaf_id, humidity, celsius, share, half, velocity
):
    """Uptake rises to the adsorption branch, drying falls to the desorption branch, and between
    them nothing is gained; water and energy close.
    """
    most, least = branches(leaf_id, humidity, celsius)
    first = share * most
    run = BladeRun(first / (1.0 + first), 5.0, celsius)
    air_now = SlabAir((celsius,), (humidity,), (0.0,), velocity)
    found = simulate(Blade(leaf_id, half, cells=12), run, air_now, points=41)
    assert found.water_residual < 1e-4
    assert found.energy_residual < 1e-3
    slack = 2e-3 * max(first, most)
    if first < least:
        assert np.all(np.diff(found.mean_db) >= -slack)
        assert found.mean_db.max() <= least + slack
        assert found.surface_db.max() <= least + slack
    elif first > most:
        assert np.all(np.diff(found.mean_db) <= slack)
        assert found.mean_db.min() >= most - slack
    else:
        assert found.mean_db == pytest.approx(first, abs=slack)
    # The leaf warms while it takes water up and cools while it gives it off.
    warmer = found.leaf_c - celsius
    assert (warmer.min() >= -0.05) if first < least else (warmer.max() <= 0.05)


def test_the_error_falls_with_the_square_of_the_cells():
    means = [
        simulate(replace(TEA, cells=n), replace(FRESH, duration_h=0.5), WARM, points=3).mean_db[-1]
        for n in (8, 16, 32, 128)
    ]
    errors = [abs(m - means[-1]) for m in means[:-1]]
    assert math.log2(errors[0] / errors[1]) > 1.5
    assert errors[2] < 0.002


def test_little_air_holds_a_face_back_and_keeps_the_wet_bulb():
    """A face takes 1 - exp(-N) of what its air can give; both heat and water, so the leaf stays."""
    loose = replace(TEA, diffusivity_m2_s=1e-8, activation_j_mol=0.0)
    run = replace(FRESH, moisture_wb=0.9)
    little = replace(WARM, air_kg_s_m2=0.002)
    found = simulate(loose, run, little)
    ratio = float(air.humidity_ratio(60.0, 0.10))
    full = float(air.humidity_ratio(found.wet_bulb_c[0], 1.0))
    at = int(np.searchsorted(found.time_h, 0.5 * found.constant_rate_h))
    assert found.leaf_c[at] == pytest.approx(found.wet_bulb_c[0], abs=0.02)
    assert found.rate_kg_h_m2[at] == pytest.approx(3600.0 * 0.002 * (full - ratio), rel=0.01)
    assert found.mean_db[-1] > simulate(loose, run, WARM).mean_db[-1]


def test_falling_humidity_pulls_the_end_down():
    """A falling equilibrium: the leaf follows the air that gets drier."""
    falling = SlabAir((50.0, 50.0), (0.6, 0.1), (0.0, 4.0))
    thin, long = Blade("tea_black"), replace(FRESH, duration_h=8.0)
    found = simulate(thin, long, falling)
    damp = simulate(thin, long, SlabAir((50.0,), (0.6,)))
    assert found.mean_db[-1] < 0.7 * damp.mean_db[-1]
    end = float(leaf.equilibrium_moisture_db(leaf.profile("tea_black"), 0.1, 50.0))
    assert found.mean_db[-1] == pytest.approx(end, rel=0.05)


@pytest.mark.parametrize(
    "quicker",
    [
        lambda a: replace(a, dry_bulb_c=(70.0,)),
        lambda a: replace(a, relative_humidity=(0.05,)),
        lambda a: replace(a, velocity_m_s=3.0),
        lambda a: replace(a, length_m=0.02),
    ],
)
def test_hotter_drier_faster_air_dries_sooner(quicker):
    long, thin = replace(FRESH, duration_h=8.0), Blade("tea_black")
    assert hours_to(thin, long, quicker(WARM), 0.1) < hours_to(thin, long, WARM, 0.1) < 8.0


@pytest.mark.slow
@settings(deadline=None, max_examples=20)
@given(
    leaf_id=st.sampled_from(["tea_black", "sugar_kelp_raw", "sugar_kelp_blanched"]),
    moisture=st.floats(0.4, 0.93),
    dry_bulb=st.floats(15.0, 110.0),
    humidity=st.floats(0.02, 0.6),
    velocity=st.floats(0.1, 5.0),
    half=st.floats(5e-5, 2e-3),
    shrinkage=st.floats(0.0, 1.0),
    flow=st.sampled_from([math.inf, 0.01, 0.1]),
    warm=st.floats(0.0, 1.0),
)
def test_water_and_energy_close_and_the_leaf_stays_between_wet_bulb_and_air(
    leaf_id, moisture, dry_bulb, humidity, velocity, half, shrinkage, flow, warm
):
    spec = SlabAir((dry_bulb,), (humidity * min(1.0, 60.0 / dry_bulb) ** 3,), (0.0,), velocity,
                   air_kg_s_m2=flow)  # fmt: skip
    wet = float(air.wet_bulb_c(dry_bulb, spec.humidity_ratio()[0]))
    blade = Blade(leaf_id, half, shrinkage=shrinkage, cells=12)
    start = min(wet + warm * (dry_bulb - wet), 60.0)
    found = simulate(blade, BladeRun(moisture, 3.0, start), spec, points=41)
    assert found.water_residual < 1e-5
    assert found.energy_residual < 1e-4
    assert min(start, wet) - 0.05 <= found.leaf_c.min()
    assert found.leaf_c.max() <= max(dry_bulb, start) + 0.05
    first = moisture / (1.0 - moisture)
    assert np.all(np.diff(found.mean_db) <= 1e-4 * first)
    assert found.mean_db[-1] >= found.equilibrium_wb / (1.0 - found.equilibrium_wb) - 1e-3 * first


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Blade("oak"), "leaf"),
        (lambda: Blade("tea_black", half_thickness_m=0.0), "half_thickness_m"),
        (lambda: Blade("tea_black", diffusivity_m2_s=-1.0), "diffusivity_m2_s"),
        (lambda: Blade("tea_black", shrinkage=1.5), "shrinkage"),
        (lambda: Blade("tea_black", cells=1), "cells"),
        (lambda: BladeRun(1.0, 1.0), "moisture_wb"),
        (lambda: BladeRun(0.7, 0.0), "duration_h"),
        (lambda: SlabAir((150.0,), (0.1,)), "dry_bulb_c"),
        (lambda: SlabAir((50.0,), (1.1,)), "relative_humidity"),
        (lambda: SlabAir((50.0, 60.0), (0.1,)), "dry_bulb_c"),
        (lambda: SlabAir((50.0, 60.0), (0.1, 0.1), (1.0, 0.5)), "time_h"),
        (lambda: SlabAir((50.0,), (0.1,), velocity_m_s=0.0), "velocity_m_s"),
        (lambda: SlabAir((50.0,), (0.1,), heat_transfer_w_m2_k=-5.0), "heat_transfer_w_m2_k"),
        (lambda: SlabAir((50.0,), (0.1,), air_kg_s_m2=0.0), "air_kg_s_m2"),
        (lambda: SlabAir((50.0,), (0.1,), lewis_factor=3.0), "lewis_factor"),
        (lambda: hours_to(TEA, FRESH, WARM, 0.9), "target_moisture_wb"),
    ],
)
def test_bad_input_names_its_field(make, field):
    with pytest.raises(BadInput) as refused:
        make()
    assert refused.value.problems[0].field == field


def test_a_target_below_equilibrium_is_told_the_driest():
    with pytest.raises(BadInput, match=r"to 0\.0\d* and no drier"):
        hours_to(TEA, FRESH, SlabAir((30.0,), (0.6,)), 0.01)
