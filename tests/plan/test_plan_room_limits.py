"""What limits the day, and how much more leaf fits."""

from dataclasses import replace

import pytest
from tests.plan.plan_cases import kelp_day, one_step, random_day

from wareleaf.measure import BadInput
from wareleaf.plan import _greedy, _price
from wareleaf.plan._problem import build
from wareleaf.plan.board import Crew, Day, Machine
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.limits import what_limits
from wareleaf.plan.room import room_for


def test_an_easy_day_is_limited_by_nothing():
    day = kelp_day(1)
    found = what_limits(day, plan_day(day, time_limit_s=1.0))
    assert found.sentence.startswith("No single machine or person limits the day")


def test_the_overloaded_dryer_is_named_with_what_one_more_would_bring():
    day = kelp_day(5, dryer_kg_h=250.0)
    plan = plan_day(day, time_limit_s=2.0)
    assert plan.mass_out_kg > 0.0
    day = replace(day, crew=())
    found = what_limits(day, plan)
    worst = found.groups[0]
    assert worst.name == "dryer" and worst.saving > 0.0 and worst.extra_kg > 0.0
    assert found.sentence.startswith("dryer limits the day")
    # A dryer hour cannot bring more than the dryer's rate.
    assert worst.extra_kg_per_h <= 250.0 + 1e-9


def test_missing_people_are_named():
    day = Day(
        tuple(
            one_step(x, machines=("d1", "d2"), hours=6.0, spoil_h=6.0, step={"crew": 1})
            for x in "ab"
        ),
        (Machine("d1", "dryer"), Machine("d2", "dryer")),
        (Crew("general", 0.0, 48.0, 1),),
    )
    found = what_limits(day, plan_day(day, time_limit_s=1.0))
    assert found.groups[0].name == "general crew"


def test_room_on_an_empty_works_is_what_the_machine_can_do():
    # 200 kg/h from 0 h to 10 h: 2,000 kg, and the load must start by 4 h, which it does.
    day = Day((), (Machine("dryer", "dryer", rate_kg_h=200.0),), horizon_h=10.0)
    like = one_step("x", hours=0.0)
    room = room_for(day, plan_day(day, time_limit_s=0.0), like, 0.0)
    assert room.at_most_kg == pytest.approx(2000.0)
    assert room.certain_kg == pytest.approx(2000.0, rel=2e-3)


def test_room_shrinks_by_what_is_planned():
    machine = Machine("dryer", "dryer", rate_kg_h=200.0)
    day = Day((one_step("a", mass_kg=600.0, hours=0.0),), (machine,), horizon_h=10.0)
    room = room_for(day, plan_day(day, time_limit_s=1.0), one_step("x", hours=0.0), 0.0)
    assert room.certain_kg == pytest.approx(1400.0, rel=5e-3)
    assert room.at_most_kg == pytest.approx(1400.0)


def test_no_room_is_said_with_the_step():
    day = Day((one_step("a", hours=20.0),), (Machine("dryer", "dryer"),), horizon_h=24.0)
    room = room_for(day, plan_day(day, time_limit_s=1.0), one_step("x"), 1.0)
    assert room.certain_kg == 0.0
    assert (
        room.sentence == "No more kelp can be taken at 1.0 h without loss: dry has no room in time."
    )


@pytest.mark.parametrize("seed", range(6))
def test_what_is_certain_really_fits_and_lies_under_the_limit(seed):
    day = random_day(seed, loads=2)
    plan = plan_day(day, time_limit_s=0.0)
    like = replace(day.loads[0], id="more", splittable=True, due_h=None)
    room = room_for(day, plan, like, 5.0)
    assert 0.0 <= room.certain_kg <= room.at_most_kg + 1e-6
    if room.certain_kg < 1.0:
        return
    extra = replace(like, ready_h=5.0, mass_kg=room.certain_kg)
    counts = tuple({d.load_id: d.parts for d in plan.decisions}.items())
    more = replace(day, loads=(*day.loads, extra), parts=counts, grid_min=plan.grid_min)
    problem = build(more)
    runs, decisions = _greedy.to_plan(problem, _greedy.keep(problem, plan.runs))
    assert set(plan.runs) <= set(runs)
    mine = [d for d in decisions if d.load_id == "more"]
    assert all(d.outcome == "run" and d.loss_share == 0.0 for d in mine)
    both = replace(
        plan,
        runs=tuple(runs),
        decisions=tuple(decisions),
        lightings=_price.lightings(more, runs),
    )
    assert problems_of(more, both) == ()


def test_bad_questions_are_refused_by_name():
    day = kelp_day(1)
    plan = plan_day(day, time_limit_s=0.0)
    with pytest.raises(BadInput, match="already"):
        room_for(day, plan, day.loads[0], 9.0)
    with pytest.raises(BadInput, match="at_h"):
        room_for(day, plan, replace(day.loads[0], id="x"), -1.0)
