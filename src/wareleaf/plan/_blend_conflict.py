"""When no blend meets all limits: the smallest set that contradicts itself, and by how much."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wareleaf.plan import _highs
from wareleaf.plan._blend_model import BlendProblem, Name, linear, property_scale


@dataclass(frozen=True)
class ConflictLimit:
    """One limit of the conflict and what it would have to be if all the others are kept.

    ``limit`` is ``mass_kg``, ``max_lots``, ``min_draw_kg`` or a property with ``min`` or ``max``;
    ``reachable`` is the best value the others allow (None: none was found).
    """

    order: str
    limit: str
    value: float
    reachable: float | None
    sentence: str


@dataclass(frozen=True)
class Conflict:
    """Limits that cannot hold together; without any one of them the others can.

    ``proved`` is false when a test ran out of time, so that the set may be larger than need be.
    """

    limits: tuple[ConflictLimit, ...]
    sentence: str
    proved: bool


def find_conflict(problem: BlendProblem, time_limit_s: float) -> Conflict:
    """Deletion filter: drop every limit without which the rest is still impossible.

    First over whole orders, then over the limits of those that remain; with plain draws where
    these are impossible already, else with whole lots.
    """
    relaxed = _impossible(problem, True, time_limit_s)[0]
    kept, proved = set(problem.kept), True
    if relaxed:
        kept = {n for n in kept if n[1] not in ("max_lots", "min_draw")}
    groups = [{n for n in kept if n[0] == o} for o in range(len(problem.orders) - 1, -1, -1)]
    for group in groups:
        kept, proved = _try_without(problem, kept, group, (relaxed, time_limit_s), proved)
    for name in sorted(kept, key=_last):
        if name in kept:
            kept, proved = _try_without(problem, kept, {name}, (relaxed, time_limit_s), proved)
    core = replace(problem, kept=frozenset(kept))
    told = tuple(_told(core, n, relaxed, time_limit_s) for n in sorted(kept, key=_last))
    return Conflict(told, _sentence(told), proved)


def _last(name: Name) -> tuple[int, int, str, str]:
    """Masses are tried last, so that they stay in only when they matter."""
    rank = {"mass": 3, "max_lots": 2, "min_draw": 1}.get(name[1], 0)
    return (rank, *name)


def _try_without(
    problem: BlendProblem,
    kept: set[Name],
    group: set[Name],
    how: tuple[bool, float],
    proved: bool,
) -> tuple[set[Name], bool]:
    fewer = kept - group
    if not fewer or not group:
        return kept, proved
    impossible, sure = _impossible(replace(problem, kept=frozenset(fewer)), *how)
    return (fewer if impossible else kept), proved and sure


def _impossible(problem: BlendProblem, relaxed: bool, time_limit_s: float) -> tuple[bool, bool]:
    """Whether no blend exists, and whether that is certain."""
    built = linear(problem, relaxed=relaxed)
    model = replace(built.linear, cost=np.zeros_like(built.linear.cost))
    status = _highs.solve(model, time_limit_s=time_limit_s).status
    return status == "infeasible", status != "unknown"


def _told(problem: BlendProblem, name: Name, relaxed: bool, time_limit_s: float) -> ConflictLimit:
    o, what, side = name
    order = problem.orders[o]
    rest = replace(problem, kept=problem.kept - {name})
    if what == "mass":
        most = _most_mass(problem, name, relaxed, time_limit_s)
        text = f"{order.id}: mass {order.mass_kg:g} kg"
        if most is not None:
            text += f" (at most {most:.1f} kg can be had with the other limits kept)"
        return ConflictLimit(order.id, "mass_kg", order.mass_kg, most, text)
    if what == "max_lots":
        value = float(order.max_lots or 0)
        text = f"{order.id}: at most {order.max_lots} lots"
        return ConflictLimit(order.id, "max_lots", value, None, text)
    if what == "min_draw":
        value = float(order.min_draw_kg or 0.0)
        text = f"{order.id}: at least {value:g} kg from each lot drawn"
        return ConflictLimit(order.id, "min_draw_kg", value, None, text)
    value = float(getattr(order.limits[what], side))
    best = _best_value(rest, name, value, relaxed, time_limit_s)
    text = f"{order.id}: {what} at {'least' if side == 'min' else 'most'} {value:g}"
    if best is not None:
        word = "lowest" if side == "max" else "highest"
        text += f" (with the other limits kept the {word} is {best:.6g})"
    return ConflictLimit(order.id, f"{what} {side}", value, best, text)


def _best_value(
    rest: BlendProblem, name: Name, limit: float, relaxed: bool, time_limit_s: float
) -> float | None:
    """Best value of a property with the other limits kept."""
    o, what, side = name
    if (o, "mass", "") not in rest.kept:
        return None
    sign = 1.0 if side == "max" else -1.0
    level = limit
    # On dry basis the mean is a ratio: a few Dinkelbach steps; on wet basis one step is exact.
    for _ in range(12):
        built = linear(rest, relaxed=relaxed)
        cost = np.zeros_like(built.linear.cost)
        weight = np.zeros_like(cost)
        for j, (oo, k) in enumerate(rest.pairs):
            if oo == o:
                lot = rest.lots[k]
                dry = 1.0 - (lot.moisture_wb or 0.0) if what in rest.dry else 1.0
                weight[j] = dry
                cost[j] = sign * dry * (lot.properties[what] - level)
        scale = property_scale(rest, name)
        solved = _highs.solve(replace(built.linear, cost=cost / scale), time_limit_s=time_limit_s)
        if solved.x is None:
            return None
        step = sign * float(cost @ solved.x) / float(weight @ solved.x)
        level += step
        if abs(step) <= 1e-9 * max(1.0, abs(level)):
            break
    return level


def _most_mass(
    problem: BlendProblem, name: Name, relaxed: bool, time_limit_s: float
) -> float | None:
    """Largest mass of the order for which the rest of the conflict can be met (bisection)."""
    o = name[0]
    low, high = 0.0, problem.orders[o].mass_kg
    for _ in range(24):
        mass = 0.5 * (low + high)
        orders = tuple(
            replace(x, mass_kg=mass) if i == o else x for i, x in enumerate(problem.orders)
        )
        impossible, sure = _impossible(replace(problem, orders=orders), relaxed, time_limit_s)
        if not sure:
            return None
        low, high = (low, mass) if impossible else (mass, high)
    return low if low > 0.0 else 0.0


def _sentence(limits: tuple[ConflictLimit, ...]) -> str:
    if len(limits) == 1:
        return f"This cannot be met from the lots in store: {limits[0].sentence}."
    return "These cannot all be met: " + "; ".join(x.sentence for x in limits) + "."
