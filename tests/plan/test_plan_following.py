"""A dryer fed all the time takes the next part of the same leaf before the last is off."""

from dataclasses import replace

import pytest
from tests.plan.plan_cases import kelp_day, one_step, random_day

from wareleaf.plan._bound import lower_bound
from wareleaf.plan._problem import build
from wareleaf.plan.board import Day, Frozen, Machine
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.limits import what_limits

BELT = Machine("dryer", "dryer", rate_kg_h=50.0, follows=True, clean_h=1.0)


def starts(day, **how):
    plan = plan_day(day, time_limit_s=how.pop("time_limit_s", 2.0), **how)
    assert problems_of(day, plan) == ()
    return {r.load_id: r.start_h for r in plan.runs}, plan


@pytest.mark.parametrize("time_limit_s", [0.0, 2.0])
def test_the_same_leaf_follows_once_the_first_is_all_on(time_limit_s):
    # 100 kg at 50 kg/h are on after 2 h, and off 2 h later.
    day = Day((one_step("a"), one_step("b")), (BELT,))
    found, _ = starts(day, time_limit_s=time_limit_s)
    assert sorted(found.values()) == [0.0, 2.0]


@pytest.mark.parametrize("time_limit_s", [0.0, 2.0])
def test_another_leaf_waits_until_the_first_is_off_and_the_belt_is_clean(time_limit_s):
    day = Day((one_step("a", leaf="black"), one_step("b", leaf="green")), (BELT,))
    found, _ = starts(day, time_limit_s=time_limit_s)
    assert sorted(found.values()) == [0.0, 5.0]


@pytest.mark.parametrize("time_limit_s", [0.0, 2.0])
def test_another_belt_speed_waits_until_the_first_is_off(time_limit_s):
    day = Day((one_step("a"), one_step("b", hours=1.5)), (BELT,))
    found, _ = starts(day, time_limit_s=time_limit_s)
    first = min(found, key=found.get)
    assert sorted(found.values()) == [0.0, 4.0 if first == "a" else 3.5]


def test_leaf_that_is_on_already_may_be_followed():
    loads = (one_step("a"), one_step("b"))
    day = Day(loads, (BELT,), now_h=1.0, frozen=(Frozen("a", 0, 0, "dryer", 0.0, 4.0),))
    found, _ = starts(day)
    assert found["b"] == 2.0


def test_a_machine_that_must_be_empty_is_kept_until_the_last_leaf_is_off():
    day = Day((one_step("a"), one_step("b")), (replace(BELT, follows=False),))
    found, _ = starts(day)
    assert sorted(found.values()) == [0.0, 4.0]


def test_a_part_fed_too_early_is_found():
    day = Day((one_step("a"), one_step("b")), (BELT,))
    _, plan = starts(day)
    late = max(plan.runs, key=lambda r: r.start_h)
    runs = tuple(
        replace(r, start_h=r.start_h - 0.5, end_h=r.end_h - 0.5) if r == late else r
        for r in plan.runs
    )
    assert "is all on" in " ".join(problems_of(day, replace(plan, runs=runs)))


def test_hours_in_which_two_parts_lie_on_a_belt_count_once():
    day = Day((one_step("a"), one_step("b")), (BELT,))
    _, plan = starts(day)
    group = next(g for g in what_limits(day, plan).groups if g.kind == "machine")
    assert group.booked_h == pytest.approx(6.0)
    assert group.utilisation <= 1.0


def following(day):
    machines = tuple(replace(m, follows=m.stage == "dryer") for m in day.machines)
    return replace(day, machines=machines)


@pytest.mark.slow
def test_following_brings_more_leaf_through_a_kelp_day():
    day = kelp_day(6, dryer_kg_h=900.0)
    slow, fast = (plan_day(d, time_limit_s=2.0) for d in (day, following(day)))
    assert problems_of(following(day), fast) == ()
    assert fast.cost.total < slow.cost.total


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_random_days_keep_every_rule_and_both_bounds_lie_under_the_cost(seed):
    day = following(random_day(seed))
    plan = plan_day(day, time_limit_s=1.0)
    assert problems_of(day, plan) == ()
    assert plan.bound is None or plan.bound <= plan.cost.total + 1e-6
    assert lower_bound(build(day), 5.0) <= plan.cost.total + 1e-6
