"""What an aim costs in a year: weight that is not sold, heat for its water, leaf over the limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from wareleaf.measure import BadInput
from wareleaf.stages.common import finite

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_ROOM_SD = 9.0  # the aim must leave this many standard deviations of room below all-water
MEGAJOULES_PER_KWH = 3.6


@dataclass(frozen=True)
class Trade:
    """What a leaf earns and what drying it costs.

    Parameters
    ----------
    limit_wb : float
        Moisture that no more than the stated share may pass: law, contract or store limit.
    price_per_kg : float
        Of made leaf as weighed.
    dry_matter_kg_year : float
        Through this dryer.
    heat_kwh_per_kg_water : float
        The dryer's own figure for the last water (`stages.dry` gives it).
    heat_price_per_kwh : float
        Of delivered heat; see `heat_price_per_kwh`.
    rework_cost_per_kg : float
        Of a kilogram that is over the limit: dried again, sold lower.
    """

    limit_wb: float
    price_per_kg: float
    dry_matter_kg_year: float
    heat_kwh_per_kg_water: float = 1.2
    heat_price_per_kwh: float = 0.0
    rework_cost_per_kg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be a trade."""
        finite("limit_wb", self.limit_wb, 0.005, 0.6)
        finite("price_per_kg", self.price_per_kg, 0.0, 1e9)
        finite("dry_matter_kg_year", self.dry_matter_kg_year, 0.0, 1e9, "kg", above=True)
        finite("heat_kwh_per_kg_water", self.heat_kwh_per_kg_water, 0.0, 50.0, "kWh/kg")
        finite("heat_price_per_kwh", self.heat_price_per_kwh, 0.0, 1e6)
        finite("rework_cost_per_kg", self.rework_cost_per_kg, 0.0, 1e9)


@dataclass(frozen=True)
class Cost:
    """What an aim costs in a year against all leaf exactly at the limit.

    Parameters
    ----------
    weight_given_kg : float
        Made leaf that was not sold because it is drier than the limit (negative parts, from lots
        over it, included).
    weight, heat, rework : float
        Money: weight given away, heat for the water below the limit, and leaf over the limit.
    share_over : float
        Of lots over the limit.
    """

    weight_given_kg: float
    weight: float
    heat: float
    rework: float
    share_over: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.weight + self.heat + self.rework


def heat_price_per_kwh(
    fuel_price_per_kg: float, net_heating_value_mj_kg: float, efficiency: float
) -> float:
    """Price of a kWh of heat from the price of a kg of fuel as fired."""
    finite("fuel_price_per_kg", fuel_price_per_kg, 0.0, 1e6)
    finite("net_heating_value_mj_kg", net_heating_value_mj_kg, 1.0, 150.0, "MJ/kg")
    finite("efficiency", efficiency, 0.0, 1.2, above=True)
    return fuel_price_per_kg * MEGAJOULES_PER_KWH / (net_heating_value_mj_kg * efficiency)


def cost_of(trade: Trade, aim_wb: float, sd_wb: float) -> Cost:
    """Yearly cost of an aim with a spread, against all leaf exactly at the limit.

    Weight is that of D/(1 - M) averaged over normal M (Gauss-Hermite, exact to rounding here), so
    that lots over the limit count with their weight and with their rework.
    """
    finite("aim_wb", aim_wb, 0.0, 0.6)
    finite("sd_wb", sd_wb, 0.0, 0.3)
    if aim_wb + _ROOM_SD * sd_wb >= 1.0:
        raise BadInput(
            "sd_wb",
            sd_wb,
            f"sd_wb is {sd_wb:g}; with an aim of {aim_wb:g} such a spread reaches leaf that is all "
            f"water, give less than {(1.0 - aim_wb) / _ROOM_SD:.3f}.",
        )
    dry, limit = trade.dry_matter_kg_year, trade.limit_wb
    made = dry * float(np.sum(_WEIGHTS / (1.0 - aim_wb - sd_wb * _NODES)))
    at_limit = dry / (1.0 - limit)
    given = at_limit - made
    over = float(norm.sf((limit - aim_wb) / sd_wb)) if sd_wb > 0.0 else float(aim_wb > limit)
    heat = given * trade.heat_kwh_per_kg_water * trade.heat_price_per_kwh
    return Cost(
        weight_given_kg=given,
        weight=given * trade.price_per_kg,
        heat=heat,
        rework=over * made * trade.rework_cost_per_kg,
        share_over=over,
    )
