"""Plan the day: which load goes where and when, and what may not be run at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wareleaf.plan import _cp_sat, _greedy, _price
from wareleaf.plan._cp_sat import Answer
from wareleaf.plan._greedy import Places
from wareleaf.plan._problem import Problem, build
from wareleaf.plan.board import Day
from wareleaf.plan.explain import explained
from wareleaf.plan.schedule import Decision, Move, Plan, Run
from wareleaf.plan.validate import validate

PROVED = "proved best"
OPEN = "best found, bound, not proved"
PLAIN = "plain dispatch plan, no bound"


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
        answer = _cp_sat.solve(
            problem, hint, before, time_limit_s=time_limit_s, workers=workers, seed=seed
        )
        if answer.places is not None:
            better = _made(problem, answer.places, before, answer)
            if better.cost.total <= plan.cost.total or answer.optimal:
                plan = better
        if answer.bound is not None and plan.bound is None:
            plan = replace(plan, bound=min(answer.bound, plan.cost.total), standing=OPEN)
    return replace(plan, decisions=explained(problem, plan))


def _made(
    problem: Problem, places: Places, before: Sequence[Run], answer: Answer | None = None
) -> Plan:
    """The plan of placed parts; with the solver's answer also its bound and standing."""
    bound = answer.bound if answer is not None else None
    proved = answer is not None and answer.optimal
    method = "dispatch" if answer is None else "CP-SAT"
    day = problem.day
    runs, decisions = _greedy.to_plan(problem, places)
    runs.sort(key=lambda r: (r.start_h, r.machine_id, r.load_id, r.part))
    cost = _price.price(day, runs, decisions, before)
    if bound is not None:
        bound = min(bound, cost.total)
    standing = PROVED if proved else (OPEN if bound is not None else PLAIN)
    return Plan(
        runs=tuple(runs),
        decisions=tuple(decisions),
        lightings=_price.lightings(day, runs),
        cost=cost,
        bound=bound,
        proved=proved,
        standing=standing,
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
