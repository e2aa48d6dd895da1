"""The day plan: small days whose best plan is known, then random days held by the checker."""

from dataclasses import replace

import pytest
from tests.plan.plan_cases import kelp_day, one_step, random_day

from wareleaf.measure import BadInput
from wareleaf.plan.board import Crew, Day, Frozen, Machine, TariffBand
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import OPEN, PLAIN, PROVED, plan_day
from wareleaf.plan.loads import Load, Option, Step

DRYER = Machine("dryer", "dryer")


def planned(day, **how):
    plan = plan_day(day, **{"time_limit_s": 3.0, **how})
    assert problems_of(day, plan) == ()
    return plan


def test_an_empty_day_needs_nothing():
    plan = planned(Day((), (DRYER,)))
    assert plan.runs == () and plan.cost.total == 0.0 and plan.proved


def test_one_load_goes_at_once():
    plan = planned(Day((one_step("a", ready_h=1.0),), (DRYER,), early_price_per_h=0.0))
    assert [(r.start_h, r.end_h) for r in plan.runs] == [(1.0, 3.0)]
    assert plan.standing == PROVED
    assert plan.decisions[0].sentence == "a goes straight to dryer; it is through at 3.0 h."


def test_waiting_loses_value_in_a_straight_line():
    # Three loads of 3 h at 0 h on one dryer; the third waits 6 h: hold 4 h, lost at 12 h,
    # so (6 - 4) / (12 - 4) of 100 kg at 1.0 = 25 is lost.
    loads = tuple(one_step(x, hours=3.0) for x in "abc")
    plan = planned(Day(loads, (DRYER,), early_price_per_h=0.0))
    assert plan.proved
    assert plan.cost.holding == pytest.approx(25.0)
    waits = sorted(d.wait_h for d in plan.decisions)
    assert waits == pytest.approx([0.0, 3.0, 6.0])
    last = max(plan.decisions, key=lambda d: d.wait_h)
    assert "waits 6.0 h for dryer and loses 25 % of its value" in last.sentence


def test_the_dearer_leaf_goes_first():
    loads = (one_step("plain", hours=5.0), one_step("fine", hours=5.0, value_per_kg=4.0))
    plan = planned(Day(loads, (DRYER,)))
    assert [r.load_id for r in plan.runs] == ["fine", "plain"]


def test_an_overloaded_day_gets_a_plan_and_a_reason():
    loads = tuple(
        one_step(f"load {k}", hours=6.0, spoil_h=6.5, divert_price_per_kg=0.5) for k in range(5)
    )
    plan = planned(Day(loads, (DRYER,)))
    out = [d for d in plan.decisions if d.outcome != "run"]
    # Two fit (starts 0 h and 6 h); the second would lose (6 - 4) / 2.5 = 80 %, dearer than 50 %.
    assert plan.proved and len(out) == 4
    assert {d.outcome for d in out} == {"divert"}
    assert plan.cost.way_out == pytest.approx(4 * 50.0)
    assert all("is diverted (costs 50): " in d.sentence for d in out)
    assert any("against 50" in d.sentence for d in out)
    assert plan.warnings


def test_the_cheapest_way_out_is_taken_and_leaf_that_is_here_cannot_be_refused():
    load = one_step("a", refuse_price_per_kg=0.2, divert_price_per_kg=0.3, mass_kg=50.0)
    shut = Machine("dryer", "dryer", windows=((30.0, 40.0),))
    assert planned(Day((load,), (shut,))).decisions[0].outcome == "refuse"
    here = Day((replace(load, ready_h=-1.0),), (shut,), now_h=0.0)
    assert planned(here).decisions[0].outcome == "divert"
    stuck = Day((replace(load, ready_h=-1.0, divert_price_per_kg=None),), (shut,))
    lost = planned(stuck).decisions[0]
    assert (lost.outcome, lost.price) == ("lose", 50.0)
    assert "is free before it spoils at 11.0 h" in lost.sentence


def test_a_load_too_large_is_split_into_parts_that_fit():
    trough = tuple(Machine(f"t{k}", "trough", capacity_kg=400.0) for k in range(2))
    load = one_step("a", mass_kg=1000.0, machines=("t0", "t1"))
    plan = planned(Day((load,), trough))
    assert [d.mass_kg for d in plan.decisions] == pytest.approx([1000 / 3] * 3)
    assert plan.mass_out_kg == 0.0


def test_charges_follow_each_other_on_one_machine():
    roller = Machine("roller", "roller", capacity_kg=300.0)
    load = one_step("a", mass_kg=1000.0, hours=0.5, machines=("roller",), step={"charges": True})
    run = planned(Day((load,), (roller,))).runs[0]
    assert run.end_h - run.start_h == pytest.approx(4 * 0.5)


def test_a_continuous_machine_takes_mass_over_rate_plus_passage():
    belt = Machine("belt", "dryer", rate_kg_h=250.0)
    load = one_step("a", mass_kg=1000.0, hours=1.5, machines=("belt",))
    run = planned(Day((load,), (belt,))).runs[0]
    assert run.end_h - run.start_h == pytest.approx(1000 / 250 + 1.5)


def test_leaf_flows_from_blancher_to_dryer_without_a_pause():
    plan = planned(kelp_day(1))
    by_name = {r.step_name: r for r in plan.runs}
    assert by_name["dry"].start_h < by_name["blanch"].end_h
    assert by_name["dry"].end_h >= by_name["blanch"].end_h + 1.5 - 1e-9
    assert plan.mass_out_kg == 0.0


def test_the_dryer_is_lit_in_time_and_shut_after():
    stove = Machine("dryer", "dryer", warm_up_h=1.5, warm_up_price=40.0, fire_price_per_h=10.0)
    day = Day((one_step("a", ready_h=0.0), one_step("b", ready_h=3.0)), (stove,))
    plan = planned(day)
    (lit,) = plan.lightings
    assert (lit.light_h, lit.ready_h, lit.from_cold) == (0.0, 1.5, True)
    # Best: b straight after a, 1.5 h warm-up then 4 h hot.
    assert lit.shut_h == pytest.approx(5.5)
    assert plan.cost.lighting == pytest.approx(40.0 + 4 * 10.0)


def test_a_long_gap_is_bridged_by_lighting_again():
    stove = Machine("dryer", "dryer", warm_up_h=1.0, warm_up_price=20.0, fire_price_per_h=10.0)
    day = Day((one_step("a", ready_h=1.0), one_step("b", ready_h=20.0)), (stove,))
    plan = planned(day)
    assert [x.light_h for x in plan.lightings] == [0.0, 19.0]
    assert plan.cost.lighting == pytest.approx(2 * (20.0 + 20.0))


def test_a_machine_is_cleaned_between_leaf_kinds():
    m = Machine("dryer", "dryer", clean_h=1.0)
    loads = (
        one_step("a", leaf="black"),
        one_step("b", leaf="green"),
        one_step("c", leaf="black"),
    )
    runs = sorted(planned(Day(loads, (m,), early_price_per_h=1.0)).runs, key=lambda r: r.start_h)
    # Kinds kept together: one cleaning, not two.
    assert runs[-1].end_h == pytest.approx(3 * 2.0 + 1.0)


def test_a_shared_machine_holds_kilograms_not_loads():
    racks = Machine("racks", "racks", capacity_kg=250.0, shared=True)
    loads = tuple(one_step(x, machines=("racks",)) for x in "abc")
    starts = sorted(r.start_h for r in planned(Day(loads, (racks,))).runs)
    assert starts == pytest.approx([0.0, 0.0, 2.0])


def test_people_limit_and_skilled_people_help_out():
    machines = tuple(Machine(f"m{k}", "table") for k in range(3))
    names = tuple(m.id for m in machines)
    loads = tuple(one_step(x, machines=names, step={"crew": 1}) for x in "abc")
    two = Day(loads, machines, (Crew("general", 0, 48, 1), Crew("boiler", 0, 48, 1)))
    assert sorted(r.start_h for r in planned(two).runs) == pytest.approx([0.0, 0.0, 2.0])
    skilled = tuple(one_step(x, machines=names, step={"crew": 1, "skill": "boiler"}) for x in "abc")
    one = replace(two, loads=skilled)
    assert sorted(r.start_h for r in planned(one).runs) == pytest.approx([0.0, 2.0, 4.0])


def test_nobody_free_is_said():
    day = Day((one_step("a", step={"crew": 3}),), (DRYER,), (Crew("general", 0, 48, 2),))
    assert "nobody is free for dry in time" in planned(day).decisions[0].sentence


def test_power_is_drawn_when_it_is_cheap():
    load = one_step("a", hold_h=10.0, spoil_h=12.0)
    step = replace(load.route[0], options=(Option("dryer", 2.0, power_kw=50.0),))
    load = replace(load, route=(step,))
    plan = planned(Day((load,), (DRYER,), tariff=(TariffBand(0.0, 5.0, 0.3),)))
    assert plan.runs[0].start_h == pytest.approx(5.0)
    assert plan.cost.power == 0.0


def test_an_overlong_wait_is_allowed_at_its_price():
    floor = Machine("floor", "floor")
    dryer = Machine("dryer", "dryer", windows=((6.0, 20.0),))
    route = (
        Step("oxidise", (Option("floor", 1.0),)),
        Step("dry", (Option("dryer", 1.0),), max_wait_h=0.5, wait_price_per_kg_h=0.01),
    )
    load = Load("a", "tea", 100.0, 0.0, 1.0, 2.0, 3.0, route)
    plan = planned(Day((load,), (floor, dryer)))
    # Latest oxidation start is 3 h (lost then); at 2 h nothing is lost, the wait is 3 h, 2.5 over.
    assert plan.cost.holding + plan.cost.waiting == pytest.approx(2.5 * 0.01 * 100.0)
    assert "2.5 h more than it should" in plan.decisions[0].sentence


def test_frozen_work_stays_put_and_blocks_its_machine():
    day = Day(
        (one_step("a", ready_h=-1.0), one_step("b")),
        (DRYER,),
        frozen=(Frozen("a", 0, 0, "dryer", -0.37, 1.63),),
    )
    runs = {r.load_id: r for r in planned(day).runs}
    assert (runs["a"].start_h, runs["a"].end_h) == (-0.37, 1.63)
    assert runs["b"].start_h >= 1.63


def test_a_run_fixed_for_later_stays_and_its_dryer_is_lit_for_it():
    stove = replace(DRYER, warm_up_h=1.0, warm_up_price=30.0, fire_price_per_h=6.0)
    day = Day(
        (one_step("a"), one_step("b")), (stove,), frozen=(Frozen("a", 0, 0, "dryer", 3.0, 5.0),)
    )
    plan = planned(day)
    # b before a: 1.0 to 3.0 h, then no gap to keep hot.
    assert {r.load_id: r.start_h for r in plan.runs} == {"a": 3.0, "b": 1.0}
    assert [(x.light_h, x.shut_h) for x in plan.lightings] == [(0.0, 5.0)]


def test_leaf_that_must_not_be_split_runs_all_or_none():
    troughs = tuple(
        Machine(f"t{k}", "trough", capacity_kg=400.0, windows=((0.0, 3.0),)) for k in range(2)
    )
    load = one_step("a", mass_kg=1100.0, machines=("t0", "t1"))
    some = planned(Day((load,), troughs))
    assert {d.outcome for d in some.decisions} == {"run", "refuse"}
    none = planned(Day((replace(load, splittable=False),), troughs))
    assert {d.outcome for d in none.decisions} == {"refuse"}


def test_without_time_there_is_still_a_plan_and_no_claim():
    plan = planned(random_day(3), time_limit_s=0.0)
    assert plan.standing == PLAIN and plan.bound is None and plan.gap is None


def test_a_dispatch_plan_is_the_same_each_time():
    assert plan_day(random_day(5), time_limit_s=0.0) == plan_day(random_day(5), time_limit_s=0.0)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_random_days_keep_every_rule_and_the_bound_is_below_the_cost(seed):
    day = random_day(seed, loads=3 + seed % 2)
    plain = planned(day, time_limit_s=0.0)
    plan = planned(day, time_limit_s=0.7)
    assert plan.cost.total <= plain.cost.total + 1e-6
    assert plan.bound is not None and plan.bound <= plan.cost.total + 1e-6
    assert plan.standing in (PROVED, OPEN)
    assert 0.0 <= plan.gap <= 1.0
    assert all(d.sentence for d in plan.decisions)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 5])
def test_a_dispatch_plan_never_costs_less_than_a_proved_bound(seed):
    """The bound is valid: no plan found any other way is cheaper."""
    day = random_day(seed, loads=3)
    plan = planned(day, time_limit_s=1.0)
    for other in range(6):
        rival = plan_day(day, time_limit_s=0.0, seed=other)
        assert rival.cost.total >= plan.bound - 1e-6


@pytest.mark.slow
def test_a_full_day_answers_with_a_useful_bound():
    day = kelp_day(7, dryer_kg_h=450.0)
    plan = planned(day, time_limit_s=4.0)
    assert plan.mass_out_kg > 0.0
    assert plan.gap < 0.5


BAD = [
    ({"horizon_h": 0.0}, "horizon_h"),
    ({"grid_min": 7}, "grid_min"),
    ({"loads": (one_step("a", mass_kg=-1.0),)}, "loads[0].mass_kg"),
    ({"loads": (one_step("a", hold_h=5.0, spoil_h=4.0),)}, "loads[0].spoil_h"),
    ({"loads": (one_step("a"), one_step("a"))}, "loads"),
    ({"loads": (one_step("a", machines=("none",)),)}, "loads[0].route[0].options[0].machine_id"),
    ({"loads": (one_step("a", hours=float("nan")),)}, "loads[0].route[0].options[0].duration_h"),
    ({"loads": (replace(one_step("a"), route=()),)}, "loads[0].route"),
    ({"machines": (replace(DRYER, windows=((3.0, 2.0),)),)}, "machines[0].windows[0]"),
    ({"machines": (replace(DRYER, shared=True),)}, "machines[0].capacity_kg"),
    ({"frozen": (Frozen("x", 0, 0, "dryer", 0.0, 1.0),)}, "frozen[0]"),
    ({"frozen": (Frozen("a", 0, 0, "oven", 0.0, 1.0),)}, "frozen[0].machine_id"),
    ({"parts": (("a", 0),)}, "parts[0]"),
    ({"loads": (one_step("a", machines=("dryer", "dryer")),)}, "loads[0].route[0].options"),
    (
        {
            "machines": (replace(DRYER, warm_up_h=2.0),),
            "frozen": (Frozen("a", 0, 0, "dryer", 1.0, 3.0),),
        },
        "frozen[0].start_h",
    ),
]


@pytest.mark.parametrize(("change", "field"), BAD)
def test_bad_days_are_refused_by_name(change, field):
    day = Day((one_step("a"),), (DRYER,))
    with pytest.raises(BadInput) as caught:
        plan_day(replace(day, **change), time_limit_s=0.0)
    assert field in [p.field for p in caught.value.problems]
