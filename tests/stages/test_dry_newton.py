"""All cells at once give what the march gives, on random belts, and closely."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf import leaf
from wareleaf.stages import _dry_newton, _dry_solve, dry
from wareleaf.stages._dry_single import at_once
from wareleaf.stages._dry_solve import scenarios, solve


def by_march(dryer, run):
    """Two equal scenarios are marched; one is solved at once."""
    return solve(dryer, run, scenarios(dryer, run, 2))


@st.composite
def belts(draw):
    count = draw(st.integers(1, 3))
    zones = tuple(
        dry.Zone(
            1.0 / count,
            draw(st.one_of(st.floats(45.0, 110.0))),
            draw(st.floats(0.2, 2.0)),
            draw(st.sampled_from([0.0, 0.5, 0.8])),
            draw(st.sampled_from(["up", "down"])),
            draw(st.booleans()),
        )
        for _ in range(count)
    )
    return dry.BeltDryer(
        40.0, zones, layers=draw(st.integers(1, 6)), steps=draw(st.integers(6, 24))
    )


@settings(deadline=None, max_examples=60)
@given(
    belts(),
    st.sampled_from(leaf.profile_ids()),
    st.floats(0.2, 0.93),
    st.floats(0.2, 4.0),
    st.floats(20.0, 500.0),
)
def test_at_once_is_as_the_march(belt, leaf_id, wet, hours, feed):
    run = dry.DryRun(leaf_id, wet, hours, feed_kg_h=feed)
    many = scenarios(belt, run)
    quick = at_once(belt, run, many)
    if quick is None:  # a dozen steps were not enough: the march is taken, and closes elsewhere
        return
    march = by_march(belt, run)
    assert quick[-1].moisture[0, :, -1].mean() == pytest.approx(march.moisture_db[0], rel=2e-5)
    made = dry.simulate(belt, run, with_spread=False)
    assert made.water_residual < 1e-6
    assert made.energy_residual < 1e-6


def test_usual_belts_come_home():
    """Belts as works run them are solved at once, not by the march."""
    rng, home = np.random.default_rng(3), 0
    for _ in range(40):
        zones = tuple(
            dry.Zone(1 / 3, t, v, r, d, m)
            for t, v, r, d, m in (
                (rng.uniform(55, 95), 1.0, 0.6, "up", False),
                (rng.uniform(55, 85), 0.8, 0.7, "down", False),
                (rng.uniform(45, 70), 0.6, 0.3, "up", True),
            )
        )
        belt = dry.BeltDryer(40.0, zones)
        run = dry.DryRun("sugar_kelp_blanched", 0.88, 2.0, feed_kg_h=rng.uniform(80, 400))
        home += at_once(belt, run, scenarios(belt, run)) is not None
    assert home >= 38


def test_the_last_step_with_a_kept_jacobian_leaves_nothing(monkeypatch):
    """Against Newton steps with a fresh Jacobian each, to the last."""
    zones = (dry.Zone(0.6, 75.0, 1.0, 0.6), dry.Zone(0.4, 60.0, 0.7, 0.5, "down", remix=True))
    belt = dry.BeltDryer(40.0, zones, layers=5, steps=12)
    run = dry.DryRun("sugar_kelp_blanched", 0.88, 2.0, feed_kg_h=250.0)
    quick = at_once(belt, run, scenarios(belt, run))
    monkeypatch.setattr(_dry_newton, "_NEAR", 0.0)
    fresh = at_once(belt, run, scenarios(belt, run))
    for ours, exact in zip(quick, fresh, strict=True):
        assert ours.moisture == pytest.approx(exact.moisture, rel=1e-8)
        assert ours.inlet_ratio == pytest.approx(exact.inlet_ratio, rel=1e-8)


def test_it_is_used_and_not_used_where_it_should(monkeypatch):
    belt = dry.BeltDryer(40.0, (dry.Zone(1.0, 70.0, 1.0, 0.6),), layers=3, steps=10)
    run = dry.DryRun("sugar_kelp_blanched", 0.9, 2.5, feed_kg_h=200.0)
    usual = solve(belt, run, scenarios(belt, run)).moisture_db[0]
    monkeypatch.setattr(_dry_solve, "at_once", lambda *_: None)
    assert solve(belt, run, scenarios(belt, run)).moisture_db[0] == pytest.approx(usual, rel=1e-6)
    monkeypatch.undo()
    for other in (
        replace(belt, zones=(dry.Zone(1.0, 70.0, 0.0),)),
        replace(belt, zones=(dry.Zone(1.0, 50.0, 1.0, 0.9, coil_c=20.0),)),
        replace(belt, layers=50, steps=400),
    ):
        assert at_once(other, run, scenarios(other, run)) is None
