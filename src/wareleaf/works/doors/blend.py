"""Least-cost draw from lots in store for one or several orders within property limits."""

from __future__ import annotations

from pydantic import BaseModel, Field

from wareleaf.works.doors import DoorInput, DoorOutput


class LotIn(DoorInput):
    """A lot in store; ``moisture_wb`` is needed for limits on dry basis."""

    id: str = Field(min_length=1)
    available_kg: float = Field(ge=0.0)
    cost_per_kg: float
    properties: dict[str, float] = Field(default_factory=dict)
    moisture_wb: float | None = Field(None, ge=0.0, lt=1.0)


class LimitIn(DoorInput):
    """Lowest and highest value of a property."""

    min: float | None = None
    max: float | None = None


class OrderIn(DoorInput):
    """An order with its limits."""

    id: str = Field(min_length=1)
    mass_kg: float = Field(gt=0.0)
    limits: dict[str, LimitIn] = Field(default_factory=dict)
    max_lots: int | None = Field(None, ge=1)
    min_draw_kg: float | None = Field(None, ge=0.0)


class Input(DoorInput):
    """Lots and orders. Properties blend by mass; those in ``dry_basis`` by dry matter."""

    lots: list[LotIn] = Field(min_length=1, max_length=20_000)
    orders: list[OrderIn] = Field(min_length=1, max_length=500)
    dry_basis: list[str] = Field(default_factory=list)
    time_limit_s: float = Field(10.0, gt=0.0, le=120.0)


class DrawOut(BaseModel):
    """Kilograms of a lot for an order."""

    order: str
    lot: str
    mass_kg: float


class ConflictLimitOut(BaseModel):
    """One limit of a conflict; ``reachable`` is the best the other limits allow."""

    order: str
    limit: str
    value: float
    reachable: float | None
    message: str


class ConflictOut(BaseModel):
    """The smallest set of limits found that cannot be met together."""

    message: str
    limits: list[ConflictLimitOut]
    proved_smallest: bool


class LimitPriceOut(BaseModel):
    """Saving per unit by which a binding limit is loosened."""

    order: str
    limit: str
    saving_per_unit: float


class Output(DoorOutput):
    """Draws, cost, bound and gap; or ``infeasible`` with the conflicting limits named."""

    draws: list[DrawOut] = Field(default_factory=list)
    cost: float | None = None
    bound: float | None = None
    gap: float | None = None
    properties: dict[str, dict[str, float]] = Field(default_factory=dict)
    infeasible: ConflictOut | None = None
    limit_prices: list[LimitPriceOut] = Field(default_factory=list)
    standing: str = ""


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.plan.blend import BlendOrder, Limit, StoreLot, blend

    found = blend(
        [StoreLot(**lot.model_dump()) for lot in data.lots],
        [
            BlendOrder(
                order.id,
                order.mass_kg,
                {name: Limit(x.min, x.max) for name, x in order.limits.items()},
                order.max_lots,
                order.min_draw_kg,
            )
            for order in data.orders
        ],
        dry_basis=data.dry_basis,
        time_limit_s=data.time_limit_s,
    )
    conflict = None
    if found.conflict is not None:
        conflict = ConflictOut(
            message=found.conflict.sentence,
            limits=[
                ConflictLimitOut(
                    order=x.order,
                    limit=x.limit,
                    value=x.value,
                    reachable=x.reachable,
                    message=x.sentence,
                )
                for x in found.conflict.limits
            ],
            proved_smallest=found.conflict.proved,
        )
    return Output(
        draws=[DrawOut(order=d.order, lot=d.lot, mass_kg=d.mass_kg) for d in found.draws],
        cost=found.cost,
        bound=found.bound,
        gap=found.gap,
        properties={k: dict(v) for k, v in found.properties.items()},
        infeasible=conflict,
        limit_prices=[
            LimitPriceOut(order=o, limit=name, saving_per_unit=price)
            for (o, name), price in found.limit_prices.items()
        ],
        standing=found.standing,
        sources=["Linear mixing by mass (wet basis) or by dry matter (dry basis)."],
        warnings=list(found.warnings),
    )
