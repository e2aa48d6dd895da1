"""The slab: limits, conservation on random slabs, the series, grid order, published cases."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.stages.slab import Slab, SlabRun, biot_roots, hours_to, series, simulate

BLADE = Slab(half_thickness_m=1e-3, diffusivity_m2_s=2e-10)
RUN = SlabRun(9.0, (0.0,), (0.1,), 3.0)


def test_cells_agree_with_crank():
    """Crank's series: 0.1 % of the start with 80 cells, at every hour after the first minutes."""
    found = simulate(replace(BLADE, cells=80), RUN)
    exact = series(BLADE, 9.0, 0.1, found.time_h)
    assert np.abs(found.mean_db - exact)[2:].max() < 0.001 * 9.0


@pytest.mark.parametrize("biot", [0.05, 1.0, 30.0])
def test_cells_agree_with_crank_with_a_resisting_surface(biot):
    slab = replace(BLADE, surface_m_s=biot * 2e-10 / 1e-3, cells=80)
    found = simulate(slab, replace(RUN, duration_h=3.0 / min(1.0, biot)))
    exact = series(slab, 9.0, 0.1, found.time_h)
    assert np.abs(found.mean_db - exact)[2:].max() < 0.001 * 9.0


def test_the_error_against_crank_falls_with_the_square_of_the_cells():
    errors = []
    for cells in (10, 20, 40):
        found = simulate(replace(BLADE, cells=cells), RUN, points=5)
        errors.append(abs(found.mean_db[-1] - series(BLADE, 9.0, 0.1, found.time_h)[-1]))
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders == pytest.approx([2.0, 2.0], abs=0.1)


def test_geankoplis_9_9_1():
    """Geankoplis 3rd ed. p. 553: D 2.97e-6 m2/h, 25.4 mm, both faces, 0.29 to 0.09: 30.8 h.

    1 % (the book's graph gives 30.4).
    """
    slab = Slab(0.0127, 2.97e-6 / 3600.0, cells=60)
    run = SlabRun(0.29, (0.0,), (0.04,), 60.0)
    assert hours_to(slab, run, 0.09) == pytest.approx(30.8, rel=0.01)


def test_a_loose_surface_is_a_lumped_blade():
    """Small Biot number: exp(-k_s t/L), to Bi/3."""
    slab = replace(BLADE, surface_m_s=0.003 * 2e-10 / 1e-3)
    hours = np.linspace(1.0, 400.0, 5)
    lumped = np.exp(-slab.surface_m_s * hours * 3600.0 / 1e-3)
    assert series(slab, 1.0, 0.0, hours) == pytest.approx(lumped, rel=0.002)


def test_the_roots_solve_their_equation():
    """b tan b = 1: 0.8603, 3.4256, 6.4373, 9.5293 (Crank, table of roots; from memory)."""
    assert biot_roots(1.0, 4) == pytest.approx([0.8603, 3.4256, 6.4373, 9.5293], abs=5e-5)


def test_shrinking_blade_with_matching_diffusivity_is_crank_in_solids():
    """D = D0 s^2 cancels the shorter way exactly, so the course is that of a stiff slab."""
    shrinking = replace(BLADE, shrinkage=1.0, diffusivity_power=2.0)
    stiff, found = simulate(BLADE, RUN), simulate(shrinking, RUN)
    assert found.mean_db == pytest.approx(stiff.mean_db, rel=1e-6)


def test_the_volume_lost_is_that_of_the_water():
    slab = replace(BLADE, shrinkage=1.0, solids_density_ratio=1.5)
    found = simulate(slab, RUN)
    volume = (1.0 + 1.5 * found.mean_db) / (1.0 + 1.5 * 9.0)
    assert found.thickness_m == pytest.approx(1e-3 * volume, rel=1e-9)
    assert simulate(BLADE, RUN).thickness_m == pytest.approx(1e-3)


def test_a_shrinking_blade_is_quicker_to_its_end():
    shrinking = replace(BLADE, shrinkage=1.0)
    assert hours_to(shrinking, RUN, 0.5) < 0.7 * hours_to(BLADE, RUN, 0.5)


def test_the_surface_follows_an_equilibrium_that_falls():
    """Vibrated bed (Akhtaruzzaman 2013, abstract): dynamic equilibrium falls from 18.3 to 2.0 %."""
    run = SlabRun(2.2, (0.0, 20.0 / 60.0), (0.183 / 0.817, 0.02 / 0.98), 20.0 / 60.0)
    slab = Slab(2e-4, 3e-10)
    found = simulate(slab, run)
    assert found.surface_db[0] == pytest.approx(0.183 / 0.817)
    assert found.surface_db[-1] == pytest.approx(0.02 / 0.98)
    fixed = simulate(slab, replace(run, equilibrium_time_h=(0.0,), equilibrium_db=(0.02 / 0.98,)))
    assert found.mean_db[-1] > fixed.mean_db[-1]


@settings(deadline=None, max_examples=25)
@given(
    start=st.floats(0.2, 12.0),
    end_share=st.floats(0.0, 0.9),
    shrinkage=st.floats(0.0, 1.0),
    power=st.floats(0.0, 3.0),
    biot=st.floats(0.1, 100.0),
    fourier=st.floats(0.05, 3.0),
)
def test_water_closes_and_moisture_only_falls(start, end_share, shrinkage, power, biot, fourier):
    slab = Slab(1e-3, 2e-10, shrinkage, 1.5, power, biot * 2e-10 / 1e-3, cells=20)
    end = end_share * start
    run = SlabRun(start, (0.0,), (end,), fourier * 1e-6 / 2e-10 / 3600.0)
    found = simulate(slab, run, points=31)
    assert found.water_residual < 1e-6
    assert np.all(np.diff(found.mean_db) <= 1e-7 * start)
    assert np.all(np.diff(found.profile_db) <= 1e-7 * start)
    assert found.profile_db.min() >= end - 1e-7 * start
    assert found.centre_db.max() <= start * (1.0 + 1e-9)


def test_damp_air_wets_a_dry_blade():
    found = simulate(BLADE, SlabRun(0.1, (0.0,), (0.4,), 3.0))
    assert found.mean_db[-1] > 0.3
    assert any("takes up water" in w for w in found.warnings)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Slab(0.0, 1e-10), "half_thickness_m"),
        (lambda: Slab(1e-3, -1e-10), "diffusivity_m2_s"),
        (lambda: Slab(1e-3, 1e-10, shrinkage=1.2), "shrinkage"),
        (lambda: Slab(1e-3, 1e-10, surface_m_s=0.0), "surface_m_s"),
        (lambda: Slab(1e-3, 1e-10, surface_m_s=float("nan")), "surface_m_s"),
        (lambda: Slab(1e-3, 1e-10, cells=2), "cells"),
        (lambda: SlabRun(float("nan"), (0.0,), (0.1,), 1.0), "moisture_db"),
        (lambda: SlabRun(1.0, (0.0, 0.0), (0.1, 0.2), 1.0), "equilibrium_time_h"),
        (lambda: SlabRun(1.0, (0.0,), (-0.1,), 1.0), "equilibrium_db"),
        (lambda: hours_to(BLADE, RUN, 0.05), "target_db"),
        (lambda: hours_to(BLADE, RUN, 9.5), "target_db"),
        (lambda: series(replace(BLADE, shrinkage=0.5), 9.0, 0.1, np.array([1.0])), "shrinkage"),
    ],
)
def test_bad_input_is_refused(make, field):
    with pytest.raises(BadInput) as refused:
        make()
    assert refused.value.problems[0].field == field


def test_a_run_that_ends_too_soon_has_no_hour():
    assert hours_to(BLADE, replace(RUN, duration_h=0.1), 0.2) == float("inf")
