"""Say in plain words why each part of a load goes where it goes."""

from __future__ import annotations

import itertools
from dataclasses import replace

from wareleaf.plan import _floor
from wareleaf.plan._floor import Floor
from wareleaf.plan._problem import Part, Problem
from wareleaf.plan.schedule import Decision, Plan, Run


def explained(problem: Problem, plan: Plan) -> tuple[Decision, ...]:
    """The plan's decisions with a sentence each."""
    floor = _floor.as_planned(problem, plan.runs)
    parts = {(p.load.id, p.number): p for p in problem.parts}
    runs: dict[tuple[str, int], list[Run]] = {}
    for run in sorted(plan.runs, key=lambda r: r.step):
        runs.setdefault((run.load_id, run.part), []).append(run)
    told = []
    for decision in plan.decisions:
        key = (decision.load_id, decision.part)
        if decision.outcome == "run":
            sentence = _running(problem, decision, runs[key])
        else:
            sentence = _leaving(problem, floor, parts[key], decision)
        told.append(replace(decision, sentence=sentence))
    return tuple(told)


def _name(decision: Decision) -> str:
    if decision.parts == 1:
        return decision.load_id
    return f"{decision.load_id} part {decision.part + 1} of {decision.parts}"


def _running(problem: Problem, decision: Decision, runs: list[Run]) -> str:
    first = runs[0].machine_id
    if decision.wait_h < 0.05:
        text = f"{_name(decision)} goes straight to {first}"
    else:
        text = f"{_name(decision)} waits {decision.wait_h:.1f} h for {first}"
    if decision.loss_share > 0.0:
        text += f" and loses {100.0 * decision.loss_share:.0f} % of its value"
    later = []
    load = problem.day.load(decision.load_id)
    for before, run in itertools.pairwise(runs):
        spec = load.route[run.step]
        pause = run.start_h - before.end_h
        if spec.max_wait_h is not None and not spec.flows and pause > spec.max_wait_h + 1e-6:
            later.append(
                f"after {before.step_name} it waits {pause:.1f} h for {run.machine_id}, "
                f"{pause - spec.max_wait_h:.1f} h more than it should"
            )
    text += f"; it is through at {runs[-1].end_h:.1f} h."
    return text if not later else f"{text[:-1]}; {'; '.join(later)}."


def _leaving(problem: Problem, floor: Floor, part: Part, decision: Decision) -> str:
    verb = {"divert": "is diverted", "refuse": "is refused", "lose": "is lost"}[decision.outcome]
    if part.gone is not None:
        return f"{_name(decision)} {verb} already."
    reason = _reason(problem, floor, part)
    return f"{_name(decision)} {verb} (costs {decision.price:.0f}): {reason}."


def _reason(problem: Problem, floor: Floor, part: Part) -> str:
    stuck = _floor.stuck_at(floor, part)
    if stuck is None:
        placed = _floor.route_from(floor, part, 0)
        assert placed is not None
        price = _floor.part_price(problem, part, placed)
        return (
            f"it would still fit, but waiting, firing and loss would cost {price:.0f} or more"
            f" against {part.out_price:.0f}"
        )
    step = part.load.route[stuck]
    if not part.tasks[stuck].choices:
        return f"no machine for {step.name} can take {part.mass_kg * step.mass_factor:.0f} kg"
    names = ", ".join(o.machine_id for o in step.options)
    idle = floor.copy()
    idle.people = None
    if floor.people is not None and _floor.stuck_at(idle, part) != stuck:
        return f"nobody is free for {step.name} in time, though a machine is"
    if stuck == 0:
        until = part.load.ready_h + part.load.spoil_h
        return f"no place for {step.name} ({names}) is free before it spoils at {until:.1f} h"
    return f"no place for {step.name} ({names}) is left before {problem.day.horizon_h:.0f} h"
