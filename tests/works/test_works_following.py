"""A belt takes the next load of the same leaf while the last is still on it."""

from datetime import timedelta

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.measure import BadInput
from wareleaf.works import plan_day as day
from wareleaf.works.floor import floor

FEED_KG_H = 200.0
SETTINGS = {"residence_h": 2.0, "inlet_shift_k": 0.0, "feed_kg_h": FEED_KG_H}


@pytest.fixture
def small(tmp_path):
    return small_works(tmp_path)


def two_on(small, **second):
    one, two = small.take("line-01", 400.0), small.take("line-02", 400.0)
    small.start("belt-1", one.lot_id, **SETTINGS)
    small.later(second.pop("after_h", 2.0))
    run = small.start("belt-1", two.lot_id, **{**SETTINGS, **second})
    return one, two, run


def test_the_next_load_follows_when_the_first_is_all_on(small):
    one, two, _ = two_on(small)
    views = [v for v in floor(small.works, "kelp") if v.machine.id == "belt-1"]
    assert [v.run.lots for v in views] == [(one.lot_id,), (two.lot_id,)]
    assert views[0].next_from is None  # something lies behind it already
    assert views[1].next_from == small.at + timedelta(hours=400.0 / FEED_KG_H)


def test_the_feed_may_differ_and_nothing_else(small):
    two_on(small, feed_kg_h=150.0)
    third = small.take("line-05", 100.0)
    small.later(4.0)
    with pytest.raises(BadInput, match="still on Belt dryer 1 at 120 min; keep that"):
        small.start("belt-1", third.lot_id, **{**SETTINGS, "residence_h": 1.5})


def test_too_early_says_when(small):
    with pytest.raises(BadInput, match=r"is being fed with .*until about \d\d:\d\d"):
        two_on(small, after_h=1.0)


def test_a_clock_a_little_early_is_believed(small):
    two_on(small, after_h=1.7)


def test_another_leaf_waits(small):
    one = small.take("line-01", 400.0)
    small.start("belt-1", one.lot_id, **SETTINGS)
    small.later(3.0)
    other = small.take("line-11", 400.0)
    assert other.leaf != one.leaf
    with pytest.raises(BadInput, match="another leaf; take that off first"):
        small.start("belt-1", other.lot_id, **SETTINGS)


def test_a_machine_that_is_not_fed_all_the_time_stays_busy(small):
    one, two = small.take("line-01", 400.0), small.take("line-02", 400.0)
    small.start("wash-1", one.lot_id)
    small.later(5.0)
    with pytest.raises(BadInput, match="is busy with"):
        small.start("wash-1", two.lot_id)


def test_a_plan_made_while_a_belt_runs_follows_it(small):
    one, two = small.take("line-01", 400.0), small.take("line-02", 400.0)
    for machine in ("belt-1", "belt-2"):
        lot = one if machine == "belt-1" else two
        small.start(machine, lot.lot_id)
    small.take("line-01", 300.0)
    plan = day.plan_site(small.works, "ilsa", "kelp", 1.0)
    running = {r.machine_id: r for r in plan.runs if r.running}
    after = [r for r in plan.runs if r.stage == "dry" and not r.running]
    assert after
    assert any(r.start_at < running[r.machine_id].end_at for r in after)
