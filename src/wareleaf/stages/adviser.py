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

from scipy.stats import nct, norm

from wareleaf.measure import BadInput, require
from wareleaf.stages.adviser_cost import (
    MEGAJOULES_PER_KWH,
    Cost,
    Trade,
    cost_of,
    heat_price_per_kwh,
)
from wareleaf.stages.common import finite

__all__ = [
    "MEGAJOULES_PER_KWH",
    "SOURCES",
    "UNCONFIRMED",
    "Advice",
    "Cost",
    "Trade",
    "advise",
    "cost_of",
    "heat_price_per_kwh",
    "margin_factor",
    "spread_sd_wb",
]

SOURCES = (
    "Normal quantile and one-sided normal tolerance factor (non-central t), textbook statistics",
)
UNCONFIRMED = (
    "The quality manager has not confirmed this limit of law: it only warns. Have its text read "
    "and confirmed before you aim by it."
)


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
        In a year at the cheapest aim; and at the cheapest that half the spread would allow.
    halved_aim_wb : float
        That aim.
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
    halved_aim_wb: float
    halved_saving: float
    part_savings: tuple[tuple[str, float], ...]
    now_cost: Cost | None
    cheapest_aim_wb: float
    reason: str
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


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
    require(
        1e-6 <= risk <= 0.499,
        "risk",
        risk,
        f"risk is {100.0 * risk:g} % of lots over the limit; it must be above 0 and below 50 %.",
    )
    z = float(norm.isf(risk))
    if lots_seen is None:
        return z
    finite("lots_seen", lots_seen, 3, 1e6)
    finite("confidence", confidence, 0.5, 0.999)
    root = math.sqrt(lots_seen)
    return float(nct.ppf(confidence, lots_seen - 1, z * root) / root)


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

    def best(spread: float) -> float:
        return _cheapest(trade, spread, trade.limit_wb - factor * spread)

    def at(spread: float) -> Cost:
        return cost_of(trade, best(spread), spread)

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
        halved_aim_wb=best(0.5 * sd),
        halved_saving=cost.total - halved.total,
        part_savings=ordered,
        now_cost=now,
        cheapest_aim_wb=best(sd),
        reason=_reason(trade, best(sd), sd, risk, cost, cost.total - halved.total),
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
