"""The march against an independent integrator, finer grids and the exact properties."""

from dataclasses import replace

import numpy as np
import pytest

from bench import bench_dryer
from wareleaf import leaf
from wareleaf.air import enthalpy_j_kg, humidity_ratio, relative_humidity, wet_bulb_c
from wareleaf.stages import dry
from wareleaf.stages._dry_tables import by_dry_bulb, look_up, tables

ONCE = replace(
    bench_dryer.DRYER,
    zones=(dry.Zone(0.5, 70.0, 1.0, 0.0, "up"), dry.Zone(0.5, 65.0, 0.8, 0.0, "down")),
)


@pytest.mark.slow
def test_the_march_agrees_with_bdf_on_the_same_equations():
    """SciPy BDF, relative tolerance 1e-6, same layers: 0.5 % of X at 40 steps, 0.1 % at 640."""
    exact = bench_dryer.reference(ONCE, bench_dryer.RUN)
    assert bench_dryer.ours(ONCE, bench_dryer.RUN) == pytest.approx(exact, rel=5e-3)
    fine = replace(ONCE, steps=640)
    assert bench_dryer.ours(fine, bench_dryer.RUN) == pytest.approx(exact, rel=1e-3)


def test_finer_layers_converge_from_a_usable_start():
    """Twice the layers (and four times the steps) at least halve the error; 8 by 40 is 1 % off."""
    run = replace(bench_dryer.RUN, residence_h=3.0)
    exact = bench_dryer.ours(replace(ONCE, layers=48, steps=1600), run)
    errors = [
        abs(bench_dryer.ours(replace(ONCE, layers=n, steps=m), run) / exact - 1.0)
        for n, m in ((4, 24), (8, 96), (16, 384))
    ]
    assert errors[1] < 0.6 * errors[0]
    assert errors[2] < 0.6 * errors[1]
    assert abs(bench_dryer.ours(ONCE, run) / exact - 1.0) < 0.01


def test_one_long_step_is_stable():
    """Three steps for the whole belt: coarse, but between equilibrium and feed and in balance."""
    for hours in (0.1, 2.0, 50.0):
        run = replace(bench_dryer.RUN, residence_h=hours, feed_kg_h=600.0 / hours)
        made = dry.simulate(replace(ONCE, steps=3, layers=2), run, with_spread=False)
        assert 0.0 < made.moisture_wb_out < 0.9
        assert max(made.water_residual, made.energy_residual) < 1e-9


@pytest.mark.parametrize("pressure_pa", [101325.0, 80000.0])
def test_tabled_air_is_the_air_of_the_house(pressure_pa):
    t = np.array([20.0, 45.0, 70.0, 95.0, 130.0, 149.0])
    w = humidity_ratio(np.minimum(t, 60.0), 0.3, pressure_pa)
    table = tables(leaf.profile("tea_black"), pressure_pa)
    wet, ratio = table.wet_bulb(enthalpy_j_kg(t, w), w)
    assert wet == pytest.approx(wet_bulb_c(t, w, pressure_pa), abs=0.02)
    assert ratio == pytest.approx(humidity_ratio(wet, 1.0, pressure_pa), rel=1e-4)
    saturation, _ = look_up(by_dry_bulb(leaf.profile("tea_black"), pressure_pa, 1.0), t)
    activity = table.activity(saturation, w)
    assert activity == pytest.approx(relative_humidity(t, w, pressure_pa), rel=1e-4)


@pytest.mark.parametrize("leaf_id", leaf.profile_ids())
def test_tabled_leaf_is_the_leaf_of_the_house(leaf_id):
    profile = leaf.profile(leaf_id)
    table = tables(profile, 101325.0)
    t, activity = np.meshgrid(np.linspace(22.0, 128.0, 9), np.linspace(0.04, 0.93, 12))
    for branch in ("desorption", "adsorption"):
        below, exact, above = (
            leaf.equilibrium_moisture_db(profile, activity + da, t, branch)
            for da in (-0.015, 0.0, 0.015)
        )
        room = np.where(above > 1.2 * below, 0.10, 0.03)  # the flank of a salt's step is smeared
        off = np.abs(table.sorbed(t, activity, gaining=branch == "adsorption") - exact)
        assert np.all(off <= np.maximum(room * exact, 2e-3))
    hot, scorched = np.meshgrid(np.linspace(80.0, 130.0, 6), np.linspace(5e-3, 0.02, 9))
    exact = leaf.equilibrium_moisture_db(profile, scorched, hot)
    assert table.sorbed(hot, scorched) == pytest.approx(exact, rel=0.01, abs=2e-5)
    _, rate = look_up(by_dry_bulb(profile, 101325.0, 0.8), t)
    assert rate * 3600.0 == pytest.approx(
        leaf.rate_constant_per_h(profile, t, 0.8, "dry"), rel=1e-4
    )
    x = np.array([0.05, 0.3, 2.0])
    assert table.leaf_c(table.leaf_heat(x, 40.0 + x), x) == pytest.approx(40.0 + x, abs=1e-9)


def test_heat_of_binding_is_in_the_leaf_enthalpy():
    """Drying from wet to X costs the integral of the net heat of sorption (trapezium, 1 %)."""
    profile = leaf.profile("tea_black")
    table = tables(profile, 101325.0)
    x = np.geomspace(0.03, 3.0, 4000)
    cost = float(np.trapezoid(np.maximum(leaf.net_isosteric_heat_j_kg(profile, x, 50.0), 0.0), x))
    dry_leaf, wet = table.leaf_heat(np.array([0.03, 3.0]), np.array([0.0, 0.0]))
    assert dry_leaf - wet == pytest.approx(cost, rel=0.01)
    assert cost > 0.0
