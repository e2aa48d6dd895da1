"""Least-cost draw from lots in store for one or several orders within property limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from wareleaf.measure import BadInput, Problem
from wareleaf.plan import _blend_model as bm
from wareleaf.plan._blend_conflict import Conflict, find_conflict
from wareleaf.plan._blend_terms import BlendOrder, Limit, StoreLot, share

__all__ = ["Blend", "BlendOrder", "Conflict", "Draw", "Limit", "StoreLot", "blend"]


@dataclass(frozen=True)
class Draw:
    """Kilograms of a lot for an order."""

    order: str
    lot: str
    mass_kg: float


@dataclass(frozen=True)
class Blend:
    """Draws for all orders, or why there are none.

    Parameters
    ----------
    draws : tuple of Draw
        Empty when no blend was found.
    cost, bound, gap : float, optional
        Cost of the draws, proved lower limit, and (cost - bound) / cost.
    properties : mapping
        Order id to property to blended value.
    conflict : Conflict, optional
        The limits that cannot be kept together.
    limit_prices : mapping
        (order, property) to the saving per unit by which the binding limit is loosened; only
        where lots may be drawn freely (a plain LP).
    standing, warnings
        What is proved, in words; what to mind.
    """

    draws: tuple[Draw, ...] = ()
    cost: float | None = None
    bound: float | None = None
    gap: float | None = None
    properties: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    conflict: Conflict | None = None
    limit_prices: Mapping[tuple[str, str], float] = field(default_factory=dict)
    standing: str = ""
    warnings: tuple[str, ...] = ()


def blend(
    lots: Sequence[StoreLot],
    orders: Sequence[BlendOrder],
    *,
    dry_basis: Sequence[str] = (),
    time_limit_s: float = 10.0,
    seed: int = 1,
) -> Blend:
    """Draw lots for orders at least cost.

    Properties blend in a straight line by mass: a property of the blend is the mean over its lots
    weighted by mass as it lies in store (wet basis), or by dry matter for the properties named in
    ``dry_basis`` (mg per kg dry matter, for instance). A property that does not blend in a straight
    line (colour, cup score, particle size) must be given as an index that does.

    Parameters
    ----------
    lots : sequence of StoreLot
        What lies in store.
    orders : sequence of BlendOrder
        What is wanted; all orders draw on the same stock.
    dry_basis : sequence of str
        Properties stated per dry matter; every lot drawn on then needs ``moisture_wb``.
    time_limit_s : float
        Seconds for the search when lots per order or smallest draws are limited.
    seed : int
        Seed of the solver.

    Returns
    -------
    Blend
        Draws with cost and bound, or the smallest set of limits that contradict each other.

    Raises
    ------
    BadInput
        For negative masses, numbers that are not finite, repeated ids, a limit with min above
        max, a missing moisture.
    """
    _validate(lots, orders, dry_basis)
    problem = bm.build(lots, orders, frozenset(dry_basis))
    found = bm.least_cost(problem, time_limit_s, seed)
    if found.status == "infeasible":
        conflict = find_conflict(problem, time_limit_s)
        return Blend(
            conflict=conflict,
            standing="no blend can meet all limits"
            + ("" if conflict.proved else " (as far as tried)"),
            warnings=problem.warnings,
        )
    if found.x is None:
        return Blend(
            bound=None if not math.isfinite(found.bound) else found.bound,
            standing="no blend found in the time given; it is not proved that there is none",
            warnings=problem.warnings,
        )
    draws = tuple(
        Draw(orders[o].id, lots[k].id, float(found.x[j]))
        for j, (o, k) in enumerate(problem.pairs)
        if found.x[j] > 1e-7
    )
    cost = sum(d.mass_kg * _cost_of(lots, d.lot) for d in draws)
    bound = min(found.bound, cost)
    gap = 0.0 if found.status == "optimal" or cost <= 0.0 else (cost - bound) / cost
    return Blend(
        draws=draws,
        cost=cost,
        bound=bound,
        gap=max(0.0, gap),
        properties=_properties(lots, orders, draws, dry_basis),
        limit_prices=bm.limit_prices(problem, found),
        standing="proved best" if found.status == "optimal" else "best found, bound, not proved",
        warnings=problem.warnings,
    )


def _cost_of(lots: Sequence[StoreLot], lot_id: str) -> float:
    return next(x.cost_per_kg for x in lots if x.id == lot_id)


def _properties(
    lots: Sequence[StoreLot],
    orders: Sequence[BlendOrder],
    draws: Sequence[Draw],
    dry_basis: Sequence[str],
) -> dict[str, dict[str, float]]:
    """Blended value of every property that all drawn lots state."""
    by_id = {x.id: x for x in lots}
    told: dict[str, dict[str, float]] = {}
    for order in orders:
        mine = [(by_id[d.lot], d.mass_kg) for d in draws if d.order == order.id]
        names = sorted({n for lot, _ in mine for n in lot.properties})
        values = {}
        for name in names:
            if any(name not in lot.properties for lot, _ in mine):
                continue
            if name in dry_basis and any(lot.moisture_wb is None for lot, _ in mine):
                continue
            weights = np.array([kg * share(lot, name in dry_basis) for lot, kg in mine])
            level = np.array([lot.properties[name] for lot, _ in mine])
            values[name] = float(weights @ level / weights.sum())
        told[order.id] = values
    return told


def _validate(
    lots: Sequence[StoreLot], orders: Sequence[BlendOrder], dry_basis: Sequence[str]
) -> None:
    found: list[Problem] = []

    def check(good: bool, where: str, value: object, want: str) -> None:
        if not good:
            found.append(Problem(where, value, f"{where} is {value}; {want}."))

    check(bool(lots), "lots", list(lots), "give at least one lot")
    check(bool(orders), "orders", list(orders), "give at least one order")
    for name, ids in (("lots", [x.id for x in lots]), ("orders", [x.id for x in orders])):
        for one in sorted({i for i in ids if ids.count(i) > 1}):
            found.append(
                Problem(name, one, f"{name}: the id {one!r} occurs twice; ids must differ.")
            )
    _check_lots(lots, orders, dry_basis, check)
    _check_orders(lots, orders, check)
    if found:
        raise BadInput.of(found)


Check = Callable[[bool, str, object, str], None]


def _check_lots(
    lots: Sequence[StoreLot], orders: Sequence[BlendOrder], dry_basis: Sequence[str], check: Check
) -> None:
    limited = {p for o in orders for p in o.limits}
    for i, lot in enumerate(lots):
        at = f"lots[{i}]"
        good = math.isfinite(lot.available_kg) and lot.available_kg >= 0.0
        check(good, f"{at}.available_kg", lot.available_kg, "it must be 0 or more and finite")
        check(math.isfinite(lot.cost_per_kg), f"{at}.cost_per_kg", lot.cost_per_kg, "give a number")
        for name, value in lot.properties.items():
            check(math.isfinite(value), f"{at}.properties.{name}", value, "give a finite number")
        if lot.moisture_wb is not None:
            good = 0.0 <= lot.moisture_wb < 1.0
            check(good, f"{at}.moisture_wb", lot.moisture_wb, "accepted is 0 to below 1")
        elif limited & set(dry_basis) & set(lot.properties):
            check(False, f"{at}.moisture_wb", None, "a limit on dry basis needs the lot's moisture")


def _check_orders(lots: Sequence[StoreLot], orders: Sequence[BlendOrder], check: Check) -> None:
    for i, order in enumerate(orders):
        at = f"orders[{i}]"
        good = math.isfinite(order.mass_kg) and order.mass_kg > 0.0
        check(good, f"{at}.mass_kg", order.mass_kg, "it must be above 0 and finite")
        for name, limit in order.limits.items():
            here = f"{at}.limits.{name}"
            given = [v for v in (limit.min, limit.max) if v is not None]
            check(bool(given), here, None, "give min, max or both")
            check(all(math.isfinite(v) for v in given), here, given, "give finite numbers")
            if limit.min is not None and limit.max is not None:
                check(limit.min <= limit.max, here, given, "min must not be above max")
            if not any(name in lot.properties for lot in lots):
                check(False, here, name, "no lot states that property")
        if order.max_lots is not None:
            check(order.max_lots >= 1, f"{at}.max_lots", order.max_lots, "it must be 1 or more")
        if order.min_draw_kg is not None:
            good = math.isfinite(order.min_draw_kg) and order.min_draw_kg >= 0.0
            check(good, f"{at}.min_draw_kg", order.min_draw_kg, "it must be 0 or more")
