"""Planning again: what runs stays, what breaks moves, and no more than need be."""

from dataclasses import replace

import pytest
from tests.plan.plan_cases import kelp_day, one_step, random_day

from wareleaf.measure import BadInput
from wareleaf.plan.board import Day, Machine
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.replan import Breakdown, as_of, replan

TWO = (Machine("d1", "dryer"), Machine("d2", "dryer"))


def starts(plan):
    return {(r.load_id, r.part, r.step): (r.machine_id, r.start_h) for r in plan.runs}


def test_nothing_happened_nothing_moves():
    day = kelp_day(3)
    plan = plan_day(day, time_limit_s=10.0)
    again = replan(day, plan, now_h=9.0, time_limit_s=10.0)
    assert again.moves == ()
    assert starts(again) == starts(plan)


def test_running_work_stays_when_another_machine_breaks():
    loads = (
        one_step("a", hours=4.0, machines=("d1", "d2")),
        *tuple(one_step(x, ready_h=2.0, hours=4.0, machines=("d1", "d2")) for x in "bc"),
    )
    day = Day(loads, TWO)
    plan = plan_day(day, time_limit_s=10.0)
    on_a = starts(plan)["a", 0, 0]
    other = "d2" if on_a[0] == "d1" else "d1"
    broken = [Breakdown(other, 1.0, 20.0)]
    again = replan(day, plan, now_h=1.0, breakdowns=broken, time_limit_s=10.0)
    assert starts(again)["a", 0, 0] == on_a
    assert {r.machine_id for r in again.runs} == {on_a[0]}
    assert problems_of(as_of(day, plan, now_h=1.0, breakdowns=broken), again) == ()


def test_work_on_the_broken_machine_is_run_again_elsewhere():
    day = Day((one_step("a", hours=4.0, machines=("d1", "d2")),), TWO)
    plan = plan_day(day, time_limit_s=10.0)
    was = plan.runs[0]
    broken = [Breakdown(was.machine_id, 1.0, 30.0)]
    full = replan(day, plan, now_h=1.0, breakdowns=broken, time_limit_s=10.0)
    (run,) = full.runs
    assert run.machine_id != was.machine_id and run.start_h == 1.0
    assert run.end_h - run.start_h == pytest.approx(4.0)
    rest = replan(day, plan, now_h=1.0, breakdowns=broken, redo_share=0.75, time_limit_s=10.0)
    assert rest.runs[0].end_h - rest.runs[0].start_h == pytest.approx(3.0)


def test_a_planned_stop_does_not_free_the_machine_before_it_begins():
    day = Day((one_step("a", hours=4.0), one_step("b", hours=1.0)), (Machine("dryer", "dryer"),))
    plan = plan_day(day, time_limit_s=10.0)
    first = min(plan.runs, key=lambda r: r.start_h)
    hour = first.start_h + 0.5
    broken = [Breakdown("dryer", hour + 0.25, hour + 2.0)]
    again = replan(day, plan, now_h=hour, breakdowns=broken, time_limit_s=10.0)
    assert min(r.start_h for r in again.runs if r.start_h >= hour) >= hour + 2.0


def test_only_what_must_move_moves():
    # Six loads on two dryers; d1 is out for its middle run only. One run has to change.
    loads = tuple(
        one_step(f"l{k}", ready_h=4.0 * (k // 2), hours=2.0, machines=("d1", "d2"), hold_h=6.0)
        for k in range(6)
    )
    day = Day(loads, TWO)
    plan = plan_day(day, time_limit_s=10.0)
    again = replan(day, plan, now_h=3.0, breakdowns=[Breakdown("d1", 3.5, 6.5)], time_limit_s=10.0)
    assert len(again.moves) == 1
    assert again.cost.moved == pytest.approx(
        day.move_price
        + day.move_price_per_h * abs(again.moves[0].start_to_h - again.moves[0].start_from_h)
    )


def test_new_leaf_is_fitted_in_around_the_plan():
    day = kelp_day(2)
    plan = plan_day(day, time_limit_s=10.0)
    extra = replace(day.loads[0], id="late boat", ready_h=14.0, mass_kg=400.0)
    again = replan(day, plan, now_h=10.0, new_loads=[extra], time_limit_s=10.0)
    outcomes = {d.load_id: d.outcome for d in again.decisions}
    assert outcomes["late boat"] == "run"
    # Moving anything would cost more than the small price of time it could save.
    assert again.moves == ()


def test_leaf_that_left_does_not_come_back():
    shut = Machine("dryer", "dryer", windows=((10.0, 30.0),))
    day = Day((one_step("a", spoil_h=8.0), one_step("b", ready_h=9.0)), (shut,))
    plan = plan_day(day, time_limit_s=10.0)
    assert {d.load_id: d.outcome for d in plan.decisions} == {"a": "refuse", "b": "run"}
    again = replan(day, plan, now_h=5.0, time_limit_s=10.0)
    gone = next(d for d in again.decisions if d.load_id == "a")
    assert gone.outcome == "refuse" and gone.sentence == "a is refused already."


def test_a_dryer_that_is_hot_is_not_lit_again():
    stove = Machine("dryer", "dryer", warm_up_h=1.0, warm_up_price=50.0, fire_price_per_h=5.0)
    day = Day((one_step("a"), one_step("b", ready_h=3.0)), (stove,))
    plan = plan_day(day, time_limit_s=10.0)
    again = replan(day, plan, now_h=2.0, time_limit_s=10.0)
    assert [x.from_cold for x in again.lightings] == [False]
    broken = [Breakdown("dryer", 2.0, 2.5)]
    cold = replan(day, plan, now_h=2.0, breakdowns=broken, time_limit_s=10.0)
    assert [x.from_cold for x in cold.lightings] == [True]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_random_breakdowns_keep_every_rule(seed):
    day = random_day(seed, loads=3)
    plan = plan_day(day, time_limit_s=0.3)
    machine = day.machines[seed % len(day.machines)].id
    now = 2.3 + 2.0 * seed
    broken = [Breakdown(machine, now - 0.2 if seed % 2 else now + 1.1, now + 5.0)]
    later = as_of(day, plan, now_h=now, breakdowns=broken)
    again = plan_day(later, time_limit_s=0.5, previous=plan)
    assert problems_of(later, again) == ()
    assert again.bound <= again.cost.total + 1e-6
    begun = {k: v for k, v in starts(plan).items() if v[1] < now and v[0] != machine}
    cut = {(i.load_id, i.part, i.step) for i in later.interrupted}
    for key, place in begun.items():
        if key not in cut:
            assert starts(again)[key] == place


@pytest.mark.parametrize(
    ("what", "field"),
    [
        ({"now_h": -1.0}, "now_h"),
        ({"now_h": 1.0, "redo_share": 0.0}, "redo_share"),
        ({"now_h": 1.0, "breakdowns": [Breakdown("oven", 1.0, 2.0)]}, "breakdowns.machine_id"),
        ({"now_h": 1.0, "breakdowns": [Breakdown("dryer", 2.0, 2.0)]}, "breakdowns.until_h"),
    ],
)
def test_bad_questions_are_refused_by_name(what, field):
    day = kelp_day(1)
    plan = plan_day(day, time_limit_s=0.0)
    with pytest.raises(BadInput) as caught:
        replan(day, plan, **what)
    assert caught.value.problems[0].field == field
