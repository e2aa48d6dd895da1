"""Plan the day: which load goes where and when, and what may not be run at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wareleaf.plan import _bound, _cp_sat, _greedy, _price
from wareleaf.plan._greedy import Places
from wareleaf.plan._problem import Problem, build
from wareleaf.plan.board import Day
from wareleaf.plan.explain import explained
from wareleaf.plan.schedule import Decision, Move, Plan, Run
from wareleaf.plan.validate import validate

PROVED = "proved best"
OPEN = "best found, bound, not proved"
PLAIN = "plain dispatch plan, no bound"
BOUND_SHARE = 0.2  # of the time limit, kept for the bound from machine hours


def plan_day(
    day: Day,
    *,
    time_limit_s: float = 8.0,
    workers: int = 2,
    seed: int = 1,
    previous: Plan | None = None,
) -> Plan:
    """Plan a day at least cost.

    A plain dispatch plan is made first; CP-SAT improves it until the time is up or the plan is
    proved best. There is always a plan: leaf that does not fit is diverted, refused or lost at
    its price, and the decision says why.

    Parameters
    ----------
    day : Day
        Loads, machines, people and what is already settled.
    time_limit_s : float
        Seconds the solver may take; 0 gives the dispatch plan alone.
    workers, seed : int
        Threads and random seed of the solver. A time limit on a clock makes runs differ: keep the
        chosen plan, it is not meant to be recomputed.
    previous : Plan, optional
        The plan in force; runs that leave their place in it pay the day's move prices.

    Returns
    -------
    Plan
        Runs, decisions with a sentence each, lightings, cost, bound and what is proved.

    Raises
    ------
    BadInput
        When the day makes no sense.
    """
    validate(day)
    problem = build(day)
    before = previous.runs if previous is not None else ()
    hint = _greedy.best_places(problem, before, seed=seed)
    if previous is not None:
        hint = _keeping(problem, hint, before)
    plan = _made(problem, hint, before)
    if time_limit_s > 0.0:
        plan = _improved(problem, plan, hint, before, (time_limit_s, workers, seed))
    return replace(plan, decisions=explained(problem, plan))


def _improved(
    problem: Problem,
    plan: Plan,
    hint: Places,
    before: Sequence[Run],
    how: tuple[float, int, int],
) -> Plan:
    """The better of the dispatch plan and the solver's, with the better of two bounds."""
    time_limit_s, workers, seed = how
    answer = _cp_sat.solve(
        problem,
        hint,
        before,
        time_limit_s=(1.0 - BOUND_SHARE) * time_limit_s,
        workers=workers,
        seed=seed,
    )
    if answer.places is not None:
        better = _made(problem, answer.places, before, "CP-SAT")
        if better.cost.total <= plan.cost.total + 1e-9:
            plan = better
    bound = answer.bound
    if not answer.optimal:
        hours = _bound.lower_bound(problem, BOUND_SHARE * time_limit_s)
        bound = max(answer.settled + hours, -float("inf") if bound is None else bound)
    if bound is None:
        return plan
    total = plan.cost.total
    bound = min(bound, total)
    proved = total - bound <= 1e-4 * total + 0.01
    return replace(plan, bound=bound, proved=proved, standing=PROVED if proved else OPEN)


def _made(
    problem: Problem, places: Places, before: Sequence[Run], method: str = "dispatch"
) -> Plan:
    """The plan of placed parts, without a bound as yet."""
    day = problem.day
    runs, decisions = _greedy.to_plan(problem, places)
    runs.sort(key=lambda r: (r.start_h, r.machine_id, r.load_id, r.part))
    cost = _price.price(day, runs, decisions, before)
    return Plan(
        runs=tuple(runs),
        decisions=tuple(decisions),
        lightings=_price.lightings(day, runs),
        cost=cost,
        bound=None,
        proved=False,
        standing=PLAIN,
        grid_min=problem.grid_min,
        method=method,
        moves=_moves(runs, before),
        warnings=_warnings(day, decisions),
    )


def _moves(runs: Sequence[Run], before: Sequence[Run]) -> tuple[Move, ...]:
    was = {(r.load_id, r.part, r.step): r for r in before}
    found = []
    for r in runs:
        old = was.get((r.load_id, r.part, r.step))
        if old is None or (old.machine_id == r.machine_id and abs(old.start_h - r.start_h) < 1e-9):
            continue
        found.append(
            Move(
                r.load_id,
                r.part,
                r.step_name,
                old.machine_id,
                r.machine_id,
                old.start_h,
                r.start_h,
            )
        )
    return tuple(found)


def _warnings(day: Day, decisions: Sequence[Decision]) -> tuple[str, ...]:
    out = sum(d.mass_kg for d in decisions if d.outcome != "run")
    told = []
    if out > 0.0:
        told.append(f"{out:.0f} kg of leaf cannot be run in this plan; see the decisions.")
    late = [x.id for x in day.loads if x.ready_h >= day.horizon_h]
    if late:
        told.append(f"{', '.join(late)} arrive after the last planned hour.")
    return tuple(told)


def _keeping(problem: Problem, fallback: Places, before: Sequence[Run]) -> Places:
    """A start that leaves the previous plan where it is, wherever that still works."""
    kept = _greedy.keep(problem, before)
    kept_cost = _greedy.cost_of(problem, kept, before)
    return kept if kept_cost <= _greedy.cost_of(problem, fallback, before) else fallback
