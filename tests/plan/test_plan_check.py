"""The checker finds each broken rule; a checker that finds nothing would prove nothing."""

from dataclasses import replace

import pytest
from tests.plan.plan_cases import kelp_day, one_step

from wareleaf.plan.board import Crew, Day, Frozen, Machine
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.schedule import Lighting

DAY = kelp_day(2)
PLAN = plan_day(DAY, time_limit_s=0.0)


def moved(step_name, by_h, longer_h=0.0, load="boat 1"):
    runs = tuple(
        replace(r, start_h=r.start_h + by_h, end_h=r.end_h + by_h + longer_h)
        if (r.step_name, r.load_id) == (step_name, load)
        else r
        for r in PLAN.runs
    )
    return replace(PLAN, runs=runs)


def test_the_plan_itself_holds():
    assert {d.outcome for d in PLAN.decisions} == {"run"}
    assert problems_of(DAY, PLAN) == ()


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        (moved("wash", -1.0), "starts before it arrives"),
        (moved("wash", 11.0), "starts after it has spoiled"),
        (moved("dry", 0.0, -1.0), "booked too short"),
        (moved("dry", -1.0), "before leaf comes out"),
        (moved("dry", 0.0, -3.5), "ends before the last leaf is through"),
        (moved("flake", -0.5), "starts too soon after dry"),
        (moved("dry", 2.0), "before boat 1 is off"),
        (moved("dry", 30.0), "outside the hours of the plan"),
        (moved("dry", 20.0), "is not hot while"),
        (moved("dry", 20.0), "are needed"),
        (replace(PLAN, runs=PLAN.runs[1:]), "not the whole route"),
        (replace(PLAN, decisions=PLAN.decisions[1:]), "kg decided of"),
        (replace(PLAN, lightings=()), "is not hot while"),
        (
            replace(PLAN, lightings=(*PLAN.lightings, Lighting("dryer", 0.0, 0.5, 9.0))),
            "warm-up is too short",
        ),
        (
            replace(PLAN, lightings=(*PLAN.lightings, Lighting("dryer", -1.0, 0.5, 9.0))),
            "lit in the past",
        ),
        (
            replace(PLAN, decisions=tuple(replace(d, outcome="refuse") for d in PLAN.decisions)),
            "goes out and yet has new runs",
        ),
    ],
)
def test_a_broken_rule_is_found(broken, says):
    assert any(says in problem for problem in problems_of(DAY, broken)), problems_of(DAY, broken)


def small(day, **run):
    plan = plan_day(day, time_limit_s=0.0)
    return replace(plan, runs=(replace(plan.runs[0], **run), *plan.runs[1:]))


def test_windows_machines_frozen_work_and_shared_room_are_checked():
    gate = Day((one_step("a"),), (Machine("dryer", "dryer", windows=((0.0, 9.0),)),))
    assert "outside its windows" in " ".join(problems_of(gate, small(gate, start_h=8, end_h=10)))
    two = replace(gate, machines=(Machine("dryer", "dryer"), Machine("oven", "oven")))
    assert "cannot do" in " ".join(problems_of(two, small(two, machine_id="oven")))
    kept = replace(two, frozen=(Frozen("a", 0, 0, "dryer", 0.0, 2.0),))
    assert "was moved" in " ".join(problems_of(kept, small(kept, start_h=1, end_h=3)))
    racks = Machine("racks", "racks", capacity_kg=150.0, shared=True)
    full = Day(tuple(one_step(x, machines=("racks",)) for x in "ab"), (racks,))
    plan = plan_day(full, time_limit_s=0.0)
    runs = tuple(replace(r, start_h=0.0, end_h=2.0) for r in plan.runs)
    assert "above capacity" in " ".join(problems_of(full, replace(plan, runs=runs)))


def test_cleaning_and_skill_are_checked():
    m = Machine("dryer", "dryer", clean_h=1.0)
    day = Day((one_step("a", leaf="black"), one_step("b", leaf="green")), (m,))
    plan = plan_day(day, time_limit_s=0.0)
    late = max(plan.runs, key=lambda r: r.start_h)
    runs = tuple(
        replace(r, start_h=r.start_h - 0.5, end_h=r.end_h - 0.5) if r == late else r
        for r in plan.runs
    )
    assert "off and cleaned" in " ".join(problems_of(day, replace(plan, runs=runs)))
    skilled = Day(
        (one_step("a", step={"crew": 1, "skill": "boiler"}),),
        (m,),
        (Crew("boiler", 3.0, 9.0, 1), Crew("general", 0.0, 9.0, 5)),
    )
    early = small(skilled, start_h=1.0, end_h=3.0)
    assert "(boiler) are needed" in " ".join(problems_of(skilled, early))


def test_a_refusal_of_leaf_that_is_here_is_found():
    day = Day((one_step("a", ready_h=-1.0),), (Machine("dryer", "dryer"),))
    plan = plan_day(day, time_limit_s=0.0)
    refused = replace(
        plan, runs=(), decisions=(replace(plan.decisions[0], outcome="refuse", price=90.0),)
    )
    assert "refused although it is here" in " ".join(problems_of(day, refused))
