"""Blend lots in store for orders: propose the cheapest draws, then make the blend.

Properties come from the book: moisture, laboratory results on a common unit per dry matter, and
the share of each grade. A lot that is held is never drawn; one that is not released for the
buyer's market is drawn and named, because the blend needs its own release in any case.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scipy.stats import norm

from wareleaf.measure.errors import require
from wareleaf.plan.blend import Blend, BlendOrder, Conflict, Limit, StoreLot, blend
from wareleaf.works.blend_order_make import make_blend
from wareleaf.works.blend_order_store import DRY, MOISTURE, StockLot, in_store
from wareleaf.works.house import Works

__all__ = [
    "Limit",
    "Order",
    "OrderProposal",
    "Proposal",
    "ProposedDraw",
    "ProposedProperty",
    "limits_of",
    "make_blend",
    "propose",
]

TIME_LIMIT_S = 8.0


@dataclass(frozen=True)
class Order:
    """What a buyer wants.

    Parameters
    ----------
    order_id : str
        For people.
    product_id : str
        Says leaf, form, site and the works' own moisture promise.
    mass_kg : float
        As it leaves the store.
    customer_id : str
        Says the market; empty when there is no buyer yet.
    limits : mapping of str to Limit
        Property to lowest and highest: ``moisture_wb`` (fraction), a laboratory parameter in mg
        per kg dry matter (``iodine``), ``grade:NAME`` (share of that grade, 0 to 1).
    max_lots, min_draw_kg
        Most lots, and smallest draw from one.
    """

    order_id: str
    product_id: str
    mass_kg: float
    customer_id: str = ""
    limits: Mapping[str, Limit] = field(default_factory=dict)
    max_lots: int | None = None
    min_draw_kg: float | None = None


@dataclass(frozen=True)
class ProposedDraw:
    """Kilograms of one lot for an order; ``released`` for the buyer's market."""

    lot_id: str
    mass_kg: float
    cost_per_kg: float
    released: bool


@dataclass(frozen=True)
class ProposedProperty:
    """A property of the blend.

    ``chance`` is how likely the true value keeps the order's limits, where there is one.
    """

    name: str
    value: float
    standard_uncertainty: float
    low: float | None
    high: float | None
    chance: float | None


@dataclass(frozen=True)
class OrderProposal:
    """Draws for one order, what they give, and sentences; no draws when limits contradict."""

    order: Order
    draws: tuple[ProposedDraw, ...]
    cost: float
    properties: tuple[ProposedProperty, ...]
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Proposal:
    """Draws for all orders.

    Parameters
    ----------
    orders : tuple of OrderProposal
        In the order given.
    cost, bound : float or None
        Of all draws, and the proved lower limit; None when there is no blend.
    conflicts : tuple of str
        The smallest sets of limits that cannot hold together, named.
    standing : str
        What is proved.
    left_out : tuple of str
        Lots that cannot be drawn, and why.
    notes : tuple of str
        What to mind.
    """

    orders: tuple[OrderProposal, ...]
    cost: float | None
    bound: float | None
    conflicts: tuple[str, ...]
    standing: str
    left_out: tuple[str, ...]
    notes: tuple[str, ...]


def propose(works: Works, orders: Sequence[Order], time_limit_s: float = TIME_LIMIT_S) -> Proposal:
    """Draw lots in store for orders at least cost.

    Raises
    ------
    BadInput
        For no orders, an unknown product or customer, a limit on what no lot states.
    """
    require(bool(orders), "orders", [], "Give at least one order.")
    for name in {o.order_id for o in orders}:
        require(
            sum(o.order_id == name for o in orders) == 1,
            "orders",
            name,
            f"Order {name!r} is given twice.",
        )
    kinds: dict[tuple[str, str, str], list[Order]] = {}
    for order in orders:
        product = works.settings.product_of(order.product_id)
        kinds.setdefault((product.site, product.leaf, product.form), []).append(order)
    found: dict[str, OrderProposal] = {}
    blends: list[Blend] = []
    left_out: list[str] = []
    notes: list[str] = []
    for (site, leaf, form), group in kinds.items():
        stock, out, told = in_store(works, site, leaf, form)
        left_out += out
        notes += told
        result = _blend(works, stock, group, time_limit_s / len(kinds))
        blends.append(result)
        notes += result.warnings
        for order in group:
            found[order.order_id] = _told(works, order, stock, result)
    solved = all(b.cost is not None for b in blends)
    return Proposal(
        orders=tuple(found[o.order_id] for o in orders),
        cost=sum(b.cost or 0.0 for b in blends) if solved else None,
        bound=sum(b.bound or 0.0 for b in blends) if solved else None,
        conflicts=tuple(b.conflict.sentence for b in blends if b.conflict is not None),
        standing="; ".join(dict.fromkeys(b.standing for b in blends)),
        left_out=tuple(dict.fromkeys(left_out)),
        notes=tuple(dict.fromkeys(notes)),
    )


def limits_of(works: Works, order: Order) -> dict[str, Limit]:
    """The order's limits, with the works' own moisture promise where the order is not tighter."""
    own = works.settings.product_of(order.product_id).moisture_wb_max
    given = order.limits.get(MOISTURE, Limit())
    high = own if given.max is None else min(own, given.max)
    return {**order.limits, MOISTURE: Limit(given.min, high)}


def _blend(
    works: Works, stock: Sequence[StockLot], orders: Sequence[Order], time_limit_s: float
) -> Blend:
    if not stock:
        sentence = f"There is no lot in store for {', '.join(o.order_id for o in orders)}."
        return Blend(conflict=Conflict((), sentence, True), standing="nothing in store")
    return blend(
        [
            StoreLot(
                s.lot.lot_id,
                s.lot.remaining_mass_g / 1000.0,
                s.cost_per_kg,
                {name: p.value for name, p in s.properties.items()},
                s.moisture_wb,
            )
            for s in stock
        ],
        [
            BlendOrder(o.order_id, o.mass_kg, limits_of(works, o), o.max_lots, o.min_draw_kg)
            for o in orders
        ],
        dry_basis=sorted({n for s in stock for n, p in s.properties.items() if p.basis == DRY}),
        time_limit_s=time_limit_s,
    )


def _told(works: Works, order: Order, stock: Sequence[StockLot], result: Blend) -> OrderProposal:
    by_id = {s.lot.lot_id: s for s in stock}
    market = works.settings.customer_of(order.customer_id).market if order.customer_id else ""
    draws = tuple(
        ProposedDraw(
            d.lot, d.mass_kg, by_id[d.lot].cost_per_kg, market in by_id[d.lot].lot.released_for
        )
        for d in result.draws
        if d.order == order.order_id
    )
    limits = limits_of(works, order)
    values = result.properties.get(order.order_id, {})
    properties = tuple(
        _property(name, value, limits.get(name, Limit()), draws, by_id)
        for name, value in values.items()
    )
    return OrderProposal(
        order=order,
        draws=draws,
        cost=sum(d.mass_kg * d.cost_per_kg for d in draws),
        properties=properties,
        sentences=_sentences(order, market, draws, properties, works.settings.firm.currency),
    )


def _property(
    name: str,
    value: float,
    limit: Limit,
    draws: Sequence[ProposedDraw],
    by_id: Mapping[str, StockLot],
) -> ProposedProperty:
    weights = []
    for d in draws:
        lot = by_id[d.lot_id]
        dry = lot.properties[name].basis == DRY
        weights.append(d.mass_kg * (1.0 - lot.moisture_wb if dry else 1.0))
    whole = sum(weights)
    sd = (
        sum(
            (w / whole * by_id[d.lot_id].properties[name].sd) ** 2
            for w, d in zip(weights, draws, strict=True)
        )
        ** 0.5
    )
    chance = None
    if limit.min is not None or limit.max is not None:
        above = 1.0 if limit.min is None else float(norm.sf(limit.min, value, max(sd, 1e-12)))
        below = 1.0 if limit.max is None else float(norm.cdf(limit.max, value, max(sd, 1e-12)))
        chance = max(0.0, above + below - 1.0)
    return ProposedProperty(name, value, sd, limit.min, limit.max, chance)


def _sentences(
    order: Order,
    market: str,
    draws: Sequence[ProposedDraw],
    properties: Sequence[ProposedProperty],
    currency: str,
) -> tuple[str, ...]:
    if not draws:
        return (f"{order.order_id}: no blend; see the conflict.",)
    taken = ", ".join(f"{d.mass_kg:.1f} kg of {d.lot_id}" for d in draws)
    cost = sum(d.mass_kg * d.cost_per_kg for d in draws)
    told = [f"{order.order_id}: take {taken}; {cost / order.mass_kg:.2f} {currency} a kg."]
    unreleased = [d.lot_id for d in draws if not d.released]
    if market and unreleased:
        told.append(
            f"Not yet released for {market}: {', '.join(unreleased)}. The blend needs its own "
            "release before it ships."
        )
    told += [
        f"{p.name} comes to {p.value:.3g} ± {p.standard_uncertainty:.2g}: "
        f"only {p.chance:.0%} likely within the order's limit."
        for p in properties
        if p.chance is not None and p.chance < 0.95
    ]
    return tuple(told)
