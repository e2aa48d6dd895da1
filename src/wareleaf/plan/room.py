"""How much more leaf can be called in for a given hour without any loss."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wareleaf.measure import require
from wareleaf.plan import _floor
from wareleaf.plan._floor import Floor, Placed
from wareleaf.plan._price import all_on_h
from wareleaf.plan._problem import Part, Problem, booked_h, build, fed_h
from wareleaf.plan.board import Day
from wareleaf.plan.loads import Load, Option, Step
from wareleaf.plan.schedule import Plan
from wareleaf.plan.validate import validate

METHOD = (
    "certain_kg was placed beside the plan without moving anything, so it surely fits; at_most_kg "
    "is what free machine hours allow if everything could be moved; the truth lies between."
)


MOST_KG = 1e6  # asked for no more than this, where no step has a capacity


@dataclass(frozen=True)
class Room:
    """Extra leaf that fits.

    Parameters
    ----------
    certain_kg : float
        Placed beside the plan as it stands, without loss or overlong waiting.
    at_most_kg : float
        No plan can take more: free machine hours of the tightest step.
    tightest_step : str
        The step that gives ``at_most_kg``.
    stuck_at : str
        The step at which a larger load no longer fitted beside the plan (empty: none tried).
    sentence, method : str
        In words.
    """

    certain_kg: float
    at_most_kg: float
    tightest_step: str
    stuck_at: str
    sentence: str
    method: str = METHOD


def room_for(day: Day, plan: Plan, like: Load, at_h: float) -> Room:
    """Find how much more of a leaf can arrive at an hour.

    Parameters
    ----------
    day, plan : Day, Plan
        The day and the plan in force.
    like : Load
        What would come: leaf, route, holding and value; its mass is not used.
    at_h : float
        Hour of arrival.

    Returns
    -------
    Room
        A quantity that surely fits and one that surely cannot be exceeded.

    Notes
    -----
    Bisection on the mass with the dispatch planner around the unmoved plan, 12 halvings; the
    answer is always a mass that was placed. Placement is not strictly monotone in mass (a load
    splits into parts), so a somewhat larger mass may fit by luck.
    """
    require(at_h >= day.now_h, "at_h", at_h, f"at_h is {at_h}; it must not be before {day.now_h}.")
    require(
        like.id not in {x.id for x in day.loads},
        "like.id",
        like.id,
        f"like.id {like.id!r} is a load of the day already; give another id.",
    )
    counts = {d.load_id: d.parts for d in plan.decisions}
    base = replace(day, parts=tuple(counts.items()), grid_min=plan.grid_min)
    extra = replace(like, ready_h=at_h)
    validate(replace(base, loads=(*base.loads, extra)))
    at_most, tightest = _at_most(base, plan, extra)
    low, high, stuck = 0.0, at_most, ""
    for k in range(13):
        mass = high if k == 0 else 0.5 * (low + high)
        if mass <= 0.5:
            break
        blocked = _blocked_at(base, plan, replace(extra, mass_kg=mass))
        if blocked is None:
            low = mass
            if k == 0:
                break
        else:
            high, stuck = mass, blocked
    return Room(low, at_most, tightest, stuck, _sentence(extra, at_h, low, at_most, stuck))


def _sentence(like: Load, at_h: float, certain: float, at_most: float, stuck: str) -> str:
    if certain < 1.0:
        why = f": {stuck} has no room in time" if stuck else ""
        return f"No more {like.leaf} can be taken at {at_h:.1f} h without loss{why}."
    text = f"{certain:.0f} kg more {like.leaf} can be taken at {at_h:.1f} h without moving anything"
    if at_most > certain * 1.01:
        text += f"; no plan at all could take more than {at_most:.0f} kg"
    return text + (f"; beyond that {stuck} has no room in time." if stuck else ".")


def _blocked_at(base: Day, plan: Plan, extra: Load) -> str | None:
    """None when the load runs without loss beside the plan, else the step that fails."""
    problem = build(replace(base, loads=(*base.loads, extra)))
    floor = _floor.as_planned(problem, plan.runs)
    by = problem.down(extra.ready_h + extra.hold_h)
    for part in problem.parts:
        if part.load.id != extra.id:
            continue
        prompt = replace(part, last_start=min(part.last_start, by))
        placed = _on_time(floor, problem, prompt)
        if isinstance(placed, str):
            return placed
        for p in placed:
            floor.place(p)
    return None


def _on_time(floor: Floor, problem: Problem, part: Part) -> list[Placed] | str:
    first = 0
    for _ in range(8):
        placed = _floor.route_from(floor, part, first)
        if placed is None:
            return _floor.stuck_step(floor, part, first) or part.load.route[0].name
        over, step = _floor.first_over(problem, placed)
        if over <= 0:
            return placed
        first = placed[0].start + over
    return step


def _at_most(day: Day, plan: Plan, extra: Load) -> tuple[float, str]:
    """Mass that the free machine hours of the tightest step allow, and that step."""
    best, name = float("inf"), extra.route[0].name
    earliest = extra.ready_h
    for k, step in enumerate(extra.route):
        latest = day.horizon_h
        if k == 0:
            longest = max(o.duration_h for o in step.options)
            if all(_speed(day, step, o.machine_id)[1] for o in step.options):
                latest = min(latest, extra.ready_h + extra.hold_h + longest)
        kg = _step_room(day, step, earliest, latest)
        kg -= _claimed(day, plan, step, (earliest, latest))
        if kg < best:
            best, name = kg, step.name
        earliest += min(o.duration_h for o in step.options) if not step.charges else 0.0
    return min(MOST_KG, max(0.0, best)), name


def _speed(day: Day, step: Step, machine_id: str) -> tuple[float, bool]:
    """Kilograms (as arrived) per machine hour at best, and whether it is a single batch."""
    m = day.machine(machine_id)
    option = next(o for o in step.options if o.machine_id == machine_id)
    rate = option.rate_kg_h
    if rate is None and option.capacity_kg is None:
        rate = m.rate_kg_h
    if rate is not None:
        return rate / step.mass_factor, False
    capacity = option.capacity_kg if option.capacity_kg is not None else m.capacity_kg
    if capacity is None:
        return float("inf"), False
    return capacity / step.mass_factor / option.duration_h, not step.charges


def _step_room(day: Day, step: Step, earliest: float, latest: float) -> float:
    """Kilograms of extra leaf that open and not yet settled machine hours allow."""
    total = 0.0
    for option in step.options:
        m = day.machine(option.machine_id)
        speed, _ = _speed(day, step, m.id)
        windows = m.windows or ((day.now_h, day.horizon_h),)
        hours = sum(max(0.0, min(b, latest) - max(a, earliest)) for a, b in windows)
        for f in day.frozen:
            if f.machine_id == m.id and not m.shared:
                end = min(all_on_h(day, f), latest)
                hours -= max(0.0, end - max(f.start_h, earliest))
        total += speed * max(0.0, hours)
    return total


def _held_h(day: Day, step: Step, option: Option, mass_kg: float) -> float | None:
    """Hours for which a part keeps others of its kind off a machine; None when it does not fit."""
    fed = fed_h(day, step, option, mass_kg) if day.machine(option.machine_id).follows else None
    return booked_h(day, step, option, mass_kg) if fed is None else fed


def _claimed(day: Day, plan: Plan, step: Step, span: tuple[float, float]) -> float:
    """What loads that run need at least on these machines within the hours, in extra-leaf kg.

    Counted only where all of that work must fall inside the hours.
    """
    earliest, latest = span
    ids = {o.machine_id for o in step.options}
    settled = {(f.load_id, f.part, f.step) for f in day.frozen}
    need = 0.0
    for d in plan.decisions:
        load = day.load(d.load_id)
        if d.outcome != "run" or load.ready_h < earliest or latest < day.horizon_h:
            continue
        for k, own in enumerate(load.route):
            mine = {o.machine_id for o in own.options}
            shared = any(day.machine(i).shared for i in mine)
            if not mine <= ids or shared or (load.id, d.part, k) in settled:
                continue
            hours = [(_held_h(day, own, o, d.mass_kg), o.machine_id) for o in own.options]
            costs = [h * _speed(day, step, i)[0] for h, i in hours if h is not None]
            need += min(costs, default=0.0)
    return need
