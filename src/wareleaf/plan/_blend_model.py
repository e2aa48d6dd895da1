"""The blend as a linear program, with whole numbers when lots per order or draws are limited."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.plan import _highs
from wareleaf.plan._blend_terms import BlendOrder, StoreLot, share
from wareleaf.plan._highs import Floats, Solved

Name = tuple[int, str, str]  # order, what ("mass", "max_lots", "min_draw", a property), side


@dataclass(frozen=True)
class BlendProblem:
    """Pairs of order and lot that may be drawn, and what is kept."""

    lots: tuple[StoreLot, ...]
    orders: tuple[BlendOrder, ...]
    dry: frozenset[str]
    pairs: tuple[tuple[int, int], ...]
    kept: frozenset[Name]
    warnings: tuple[str, ...] = ()


def build(
    lots: Sequence[StoreLot], orders: Sequence[BlendOrder], dry: frozenset[str]
) -> BlendProblem:
    """Find the usable pairs and name every limit."""
    pairs, warnings = [], []
    for o, order in enumerate(orders):
        for k, lot in enumerate(lots):
            missing = [p for p in order.limits if p not in lot.properties]
            if missing:
                warnings.append(
                    f"{lot.id} is not drawn for {order.id}: it states no {', '.join(missing)}."
                )
            elif lot.available_kg > 0.0:
                pairs.append((o, k))
    kept: list[Name] = []
    for o, order in enumerate(orders):
        kept.append((o, "mass", ""))
        for name, limit in order.limits.items():
            kept += [(o, name, s) for s in ("min", "max") if getattr(limit, s) is not None]
        if order.max_lots is not None:
            kept.append((o, "max_lots", ""))
        if order.min_draw_kg:
            kept.append((o, "min_draw", ""))
    return BlendProblem(
        tuple(lots), tuple(orders), dry, tuple(pairs), frozenset(kept), tuple(warnings)
    )


@dataclass(frozen=True)
class Built:
    """A linear model and which row belongs to which limit."""

    linear: _highs.Linear
    rows: dict[Name, int]
    whole: bool


def linear(problem: BlendProblem, *, relaxed: bool = False, prices: Floats | None = None) -> Built:
    """The model: columns are draws in kg, then one yes-or-no per pair where it is needed.

    Only limits in ``problem.kept`` become rows. ``prices`` are added to the lots' costs.
    """
    lots, orders, pairs = problem.lots, problem.orders, problem.pairs
    n = len(pairs)
    counted = {o for o, what, _ in problem.kept if what in ("max_lots", "min_draw")}
    flags = [] if relaxed else [j for j, (o, _) in enumerate(pairs) if o in counted]
    flag_of = {j: n + i for i, j in enumerate(flags)}
    rows, named = _highs.Rows(), {}
    by_lot: dict[int, list[int]] = {}
    by_order: dict[int, list[int]] = {}
    for j, (o, k) in enumerate(pairs):
        by_lot.setdefault(k, []).append(j)
        by_order.setdefault(o, []).append(j)
    for k, mine in by_lot.items():
        rows.add(-np.inf, lots[k].available_kg, mine, np.ones(len(mine)))
    for name in sorted(problem.kept):
        o, what, side = name
        mine = by_order.get(o, [])
        if what == "mass":
            mass = orders[o].mass_kg
            named[name] = rows.add(mass, mass, mine, np.ones(len(mine)))
        elif side:
            named[name] = _property_row(problem, rows, name, mine)
    _flag_rows(problem, rows, flag_of)
    cost = np.zeros(n + len(flags))
    upper = np.ones(n + len(flags))
    for j, (o, k) in enumerate(pairs):
        cost[j] = lots[k].cost_per_kg + (0.0 if prices is None else prices[k])
        has_mass = (o, "mass", "") in problem.kept
        upper[j] = min(lots[k].available_kg, orders[o].mass_kg) if has_mass else 0.0
    integer = np.arange(n + len(flags)) >= n
    model = rows.model(cost, np.zeros(n + len(flags)), upper, integer if flags else None)
    return Built(model, named, bool(flags))


def _property_row(problem: BlendProblem, rows: _highs.Rows, name: Name, mine: list[int]) -> int:
    o, what, side = name
    limit = getattr(problem.orders[o].limits[what], side)
    value = []
    for j in mine:
        lot = problem.lots[problem.pairs[j][1]]
        value.append(share(lot, what in problem.dry) * (lot.properties[what] - limit))
    scale = max([abs(v) for v in value], default=1.0) or 1.0
    value = [v / scale for v in value]
    if side == "max":
        return rows.add(-np.inf, 0.0, mine, value)
    return rows.add(0.0, np.inf, mine, value)


def property_scale(problem: BlendProblem, name: Name) -> float:
    """By what a property row was divided."""
    o, what, side = name
    limit = getattr(problem.orders[o].limits[what], side)
    sizes = [
        abs(
            share(problem.lots[k], what in problem.dry) * (problem.lots[k].properties[what] - limit)
        )
        for oo, k in problem.pairs
        if oo == o
    ]
    return max(sizes, default=1.0) or 1.0


def _flag_rows(problem: BlendProblem, rows: _highs.Rows, flag_of: dict[int, int]) -> None:
    per_order: dict[int, list[int]] = {}
    for j, flag in flag_of.items():
        o, k = problem.pairs[j]
        order, lot = problem.orders[o], problem.lots[k]
        per_order.setdefault(o, []).append(flag)
        rows.add(-np.inf, 0.0, [j, flag], [1.0, -min(lot.available_kg, order.mass_kg)])
        if (o, "min_draw", "") in problem.kept:
            rows.add(0.0, np.inf, [j, flag], [1.0, -float(order.min_draw_kg or 0.0)])
    for o, flags in per_order.items():
        most = problem.orders[o].max_lots
        if most is not None and (o, "max_lots", "") in problem.kept:
            rows.add(-np.inf, float(most), flags, np.ones(len(flags)))


def least_cost(problem: BlendProblem, time_limit_s: float, seed: int) -> Solved:
    """Solve; with whole numbers an order-by-order blend is the start."""
    free = _highs.solve(linear(problem, relaxed=True).linear, time_limit_s=time_limit_s)
    whole = linear(problem)
    if not whole.whole or free.status == "infeasible" or free.x is None:
        return free
    left_s = max(1.0, time_limit_s - free.seconds)
    start = one_by_one(problem, free, 0.5 * left_s)
    found = _highs.solve(whole.linear, time_limit_s=0.5 * left_s, start=start, seed=seed)
    if found.x is not None and found.status == "optimal":
        return found
    bound = max(free.bound, found.bound if np.isfinite(found.bound) else -np.inf)
    if found.status == "infeasible":
        return found
    best = found.x
    if start is not None and (best is None or whole.linear.cost @ start < whole.linear.cost @ best):
        best = start
    if best is None:
        return Solved("unknown", None, float("nan"), bound)
    objective = float(whole.linear.cost @ best)
    if objective - bound <= 1e-6 * max(1.0, abs(objective)):
        return Solved("optimal", best, objective, objective)
    return Solved("feasible", best, objective, bound)


def one_by_one(problem: BlendProblem, free: Solved, time_limit_s: float) -> Floats | None:
    """A blend order by order, lots priced with what the free blend says they are worth.

    Orders with the fewest usable lots come first; None when one of them finds nothing.
    """
    assert free.row_dual is not None
    by_lot = dict.fromkeys(k for _, k in problem.pairs)
    prices = np.zeros(len(problem.lots))
    for row, k in enumerate(by_lot):
        prices[k] = max(0.0, -float(free.row_dual[row]))
    left = np.array([lot.available_kg for lot in problem.lots])
    x = np.zeros(len(problem.pairs))
    choices = {o: sum(1 for oo, _ in problem.pairs if oo == o) for o in range(len(problem.orders))}
    for o in sorted(choices, key=lambda i: (choices[i], i)):
        draws = _one_order(problem, o, free, (left, prices), time_limit_s / len(problem.orders))
        if draws is None:
            return None
        for j, mass in draws.items():
            x[j] = mass
            left[problem.pairs[j][1]] -= mass
    return _with_flags(problem, x)


def _one_order(
    problem: BlendProblem,
    o: int,
    free: Solved,
    stock: tuple[Floats, Floats],
    time_limit_s: float,
) -> dict[int, float] | None:
    """Draws of one order from what is left, first among the most promising lots, then all."""
    assert free.x is not None and free.col_dual is not None
    left, prices = stock
    order = problem.orders[o]
    small = max(order.min_draw_kg or 0.0, 1e-6)
    mine = [j for j, (oo, k) in enumerate(problem.pairs) if oo == o and left[k] >= small]
    reduced, drawn = free.col_dual, free.x
    mine.sort(key=lambda j: (drawn[j] <= 0.0, reduced[j], j))
    lots = tuple(replace(lot, available_kg=float(left[k])) for k, lot in enumerate(problem.lots))
    kept = frozenset(name for name in problem.kept if name[0] == o)
    for most in (60, 240, len(mine)):
        some = mine[:most]
        pairs = tuple(problem.pairs[j] for j in some)
        one = replace(problem, lots=lots, pairs=pairs, kept=kept)
        found = _highs.solve(
            linear(one, prices=prices).linear, time_limit_s=time_limit_s, relative_gap=1e-3
        )
        if found.x is not None:
            return {j: float(found.x[i]) for i, j in enumerate(some) if found.x[i] > 1e-7}
        if most >= len(mine):
            break
    return None


def _with_flags(problem: BlendProblem, x: Floats) -> Floats:
    counted = {o for o, what, _ in problem.kept if what in ("max_lots", "min_draw")}
    flags = [float(x[j] > 0.0) for j, (o, _) in enumerate(problem.pairs) if o in counted]
    return np.concatenate([x, flags])


def limit_prices(problem: BlendProblem, found: Solved) -> dict[tuple[str, str], float]:
    """Saving per unit of each binding property limit: |dual| x order mass, for a plain LP.

    Loosening a limit by one unit moves the row's right-hand side by the order's mass (wet basis);
    on dry basis the dry matter of the blend takes its place, so those are left out.
    """
    if found.row_dual is None:
        return {}
    built = linear(problem, relaxed=True)
    told = {}
    for name, row in built.rows.items():
        o, what, side = name
        if not side or what in problem.dry:
            continue
        price = abs(float(found.row_dual[row])) / property_scale(problem, name)
        if price > 1e-9:
            told[problem.orders[o].id, f"{what} {side}"] = price * problem.orders[o].mass_kg
    return told
