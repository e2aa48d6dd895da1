"""Lots in store and orders, as the blend sees them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Limit:
    """Lowest and highest value a property may have; either may be left open."""

    min: float | None = None
    max: float | None = None


@dataclass(frozen=True)
class StoreLot:
    """A lot in store.

    Parameters
    ----------
    id : str
        The lot.
    available_kg : float
        Mass that may be drawn.
    cost_per_kg : float
        Cost of a kilogram drawn.
    properties : mapping
        Property to value. A lot that does not state a property is not drawn for an order that
        limits it.
    moisture_wb : float, optional
        Moisture, needed for limits on dry basis.
    """

    id: str
    available_kg: float
    cost_per_kg: float
    properties: Mapping[str, float] = field(default_factory=dict)
    moisture_wb: float | None = None


@dataclass(frozen=True)
class BlendOrder:
    """An order: its mass, limits by property, and how many lots and how small a draw it allows."""

    id: str
    mass_kg: float
    limits: Mapping[str, Limit] = field(default_factory=dict)
    max_lots: int | None = None
    min_draw_kg: float | None = None


def share(lot: StoreLot, dry: bool) -> float:
    """Weight of a kilogram of the lot in the mean: itself, or its dry matter."""
    if not dry:
        return 1.0
    assert lot.moisture_wb is not None
    return 1.0 - lot.moisture_wb
