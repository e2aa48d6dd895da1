"""Where the dry matter of a traced lot is now: the balance that a recall has to close."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf.works.trace_lot import TraceView


@dataclass(frozen=True)
class Whereabouts:
    """Dry matter of a traced lot by where it is, kg; ``shipped_kg`` is less what came back.

    ``gone_kg`` is what left on the way: leached, dust, samples, waste, and what the weighings do
    not explain. The three parts add up to ``made_kg``.
    """

    made_kg: float
    in_stock_kg: float
    shipped_kg: float
    gone_kg: float


def whereabouts(view: TraceView) -> Whereabouts:
    """Follow a lot's dry matter forward into stock and to customers by its shares."""
    stock = shipped = 0.0
    for node in view.forward.nodes:
        lot = view.lots[node.lot_id]
        stock += lot.remaining_dry_g * node.share
        shipped += lot.with_customers_dry_g * node.share
    made = float(view.lot.dry_g)
    return Whereabouts(
        made / 1000.0, stock / 1000.0, shipped / 1000.0, (made - stock - shipped) / 1000.0
    )
