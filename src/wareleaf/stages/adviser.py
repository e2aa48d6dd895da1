"""The money in moisture: where to aim when the outlet spreads, and what the spread costs.

Made leaf is sold by weight, so water below the limit is weight given away and heat spent twice.
Lots scatter about the aim, so the aim must stay below the limit by as much as the stated risk asks.
With outlet moisture normal about the aim with standard deviation s, a share r over the limit needs

    aim = limit - z s,    z the normal quantile of 1 - r;

when s was estimated from n lots, z is replaced by the one-sided tolerance factor
k = t'(1 - a; n - 1, z sqrt n)/sqrt n (non-central t), so that the share over the limit stays
below r with the stated confidence. Both are textbook statistics, held to printed values.
Money is in the works' own currency.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.stats import nct, norm

from wareleaf.measure import BadInput
from wareleaf.stages.common import finite

SOURCES = (
    "Normal quantile and one-sided normal tolerance factor (non-central t), textbook statistics",
)
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


@dataclass(frozen=True)
class Advice:
    """Where to aim.

    Parameters
    ----------
    aim_wb : float
        The wettest aim that keeps the share over the limit at or below the risk.
    spread_sd_wb : float
        Standard deviation of the outlet about its aim, all parts together.
    factor : float
        Standard deviations between aim and limit.
    cost, halved_cost : Cost
        In a year at this aim; and at the aim that half the spread would allow.
    halved_saving : float
        What halving the spread would save in a year.
    part_savings : tuple of (str, float)
        What halving one part alone would save in a year, dearest first.
    now_cost : Cost or None
        At the aim in use, when given.
    cheapest_aim_wb : float
        Aim of least cost when rework is priced; never wetter than ``aim_wb``.
    reason : str
        One sentence for the operator.
    warnings, sources : tuple of str
        As for every stage.
    """

    aim_wb: float
    spread_sd_wb: float
    factor: float
    cost: Cost
    halved_cost: Cost
    halved_saving: float
    part_savings: tuple[tuple[str, float], ...]
    now_cost: Cost | None
    cheapest_aim_wb: float
    reason: str
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


def heat_price_per_kwh(
    fuel_price_per_kg: float, net_heating_value_mj_kg: float, efficiency: float
) -> float:
    """Price of a kWh of heat from the price of a kg of fuel as fired."""
    finite("fuel_price_per_kg", fuel_price_per_kg, 0.0, 1e6)
    finite("net_heating_value_mj_kg", net_heating_value_mj_kg, 1.0, 150.0, "MJ/kg")
    finite("efficiency", efficiency, 0.0, 1.2, above=True)
    return fuel_price_per_kg * MEGAJOULES_PER_KWH / (net_heating_value_mj_kg * efficiency)


def spread_sd_wb(parts: Mapping[str, float]) -> float:
    """All parts of the spread together, as independent: root of the sum of squares."""
    for name, sd in parts.items():
        finite(name, sd, 0.0, 0.3)
    return math.hypot(*parts.values())


def margin_factor(risk: float, lots_seen: int | None = None, confidence: float = 0.95) -> float:
    """Standard deviations between aim and limit.

    Parameters
    ----------
    risk : float
        Largest share over the limit, above 0, below 0.5.
    lots_seen : int or None
        Lots from which the spread was estimated; None takes the spread as known.
    confidence : float
        That the share stays below the risk, when the spread was estimated.
    """
    finite("risk", risk, 1e-6, 0.499)
    z = float(norm.isf(risk))
    if lots_seen is None:
        return z
    finite("lots_seen", lots_seen, 3, 1e6)
    finite("confidence", confidence, 0.5, 0.999)
    root = math.sqrt(lots_seen)
    return float(nct.ppf(confidence, lots_seen - 1, z * root) / root)


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


def advise(
    trade: Trade,
    parts: Mapping[str, float],
    risk: float,
    *,
    lots_seen: int | None = None,
    confidence: float = 0.95,
    aim_in_use_wb: float | None = None,
) -> Advice:
    """Where to aim, what it costs, and what less spread would save.

    Parameters
    ----------
    trade : Trade
        Limit, prices, amounts.
    parts : mapping of str to float
        Standard deviations of the outlet moisture (wet basis), by what causes them: feed, loading,
        air, the lot's rate, or one part for a spread read off the book.
    risk : float
        Largest share of lots over the limit.
    lots_seen, confidence
        As for `margin_factor`.
    aim_in_use_wb : float or None
        Today's aim, to be compared.

    Raises
    ------
    BadInput
        No parts, a spread of 0, or so wide that no aim is dry enough (with what would be).
    """
    if not parts:
        raise BadInput("parts", None, "parts is empty; give at least one standard deviation.")
    sd = spread_sd_wb(parts)
    finite("spread", sd, 0.0, 0.3, above=True)
    factor = margin_factor(risk, lots_seen, confidence)
    aim = trade.limit_wb - factor * sd
    if aim <= 0.0:
        raise BadInput(
            "spread",
            sd,
            f"A spread of {100.0 * sd:.2f} points leaves no aim that keeps the share over "
            f"{100.0 * trade.limit_wb:g} % below {100.0 * risk:g} %; it must be below "
            f"{100.0 * trade.limit_wb / factor:.2f} points.",
        )

    def at(spread: float) -> Cost:
        return cost_of(trade, trade.limit_wb - factor * spread, spread)

    cost, halved = at(sd), at(0.5 * sd)
    savings = {
        name: cost.total - at(math.sqrt(max(0.0, sd**2 - 0.75 * part**2))).total
        for name, part in parts.items()
    }
    ordered = tuple(sorted(savings.items(), key=lambda item: -item[1]))
    if aim_in_use_wb is not None:
        finite("aim_in_use_wb", aim_in_use_wb, 0.0, 0.6)
    now = None if aim_in_use_wb is None else cost_of(trade, aim_in_use_wb, sd)
    return Advice(
        aim_wb=aim,
        spread_sd_wb=sd,
        factor=factor,
        cost=cost,
        halved_cost=halved,
        halved_saving=cost.total - halved.total,
        part_savings=ordered,
        now_cost=now,
        cheapest_aim_wb=_cheapest(trade, sd, aim),
        reason=_reason(trade, aim, sd, risk, cost, cost.total - halved.total),
        warnings=_warnings(trade, risk, lots_seen, now, aim, aim_in_use_wb),
        sources=SOURCES,
    )


def _cheapest(trade: Trade, sd: float, wettest: float) -> float:
    """Aim of least cost at or below the wettest allowed, by golden section in the last 8 sd."""
    if trade.rework_cost_per_kg == 0.0:
        return wettest
    from scipy.optimize import minimize_scalar

    low = max(1e-4, trade.limit_wb - 8.0 * sd)
    if low >= wettest:
        return wettest
    found = minimize_scalar(
        lambda a: cost_of(trade, a, sd).total,
        bounds=(low, wettest),
        method="bounded",
        options={"xatol": 1e-7},
    )
    best = float(found.x)
    cheaper = cost_of(trade, best, sd).total < cost_of(trade, wettest, sd).total
    return best if cheaper and wettest - best > 1e-5 else wettest


def _reason(trade: Trade, aim: float, sd: float, risk: float, cost: Cost, saving: float) -> str:
    return (
        f"Aim at {100.0 * aim:.1f} %: with a spread of {100.0 * sd:.1f} points {100.0 * risk:g} % "
        f"of lots at most are over {100.0 * trade.limit_wb:g} %. Below the limit this gives away "
        f"{cost.weight_given_kg:,.0f} kg a year, {cost.total:,.0f} in money; half the spread would "
        f"save {saving:,.0f}."
    )


def _warnings(
    trade: Trade,
    risk: float,
    lots_seen: int | None,
    now: Cost | None,
    aim: float,
    in_use: float | None,
) -> tuple[str, ...]:
    said = [
        "The outlet is taken as normal about its aim. Look at the book's own spread for tails, and "
        "at the share over the limit that really came."
    ]
    if lots_seen is None:
        said.append("The spread is taken as known; give lots_seen to allow for its own doubt.")
    elif lots_seen < 20:
        said.append(
            f"A spread from {lots_seen} lots is itself uncertain; the margin allows for it."
        )
    if now is not None and now.share_over > risk:
        said.append(
            f"The aim in use puts {100.0 * now.share_over:.1f} % of lots over the limit, more "
            f"than the {100.0 * risk:g} % allowed: aim {100.0 * ((in_use or 0.0) - aim):.1f} "
            "points drier."
        )
    said.append(
        "A limit of law or contract must be confirmed by the quality manager; a lot over it is not "
        "released by this advice."
    )
    return tuple(said)
