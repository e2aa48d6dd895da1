"""Does a measured value conform to a limit? A decision that knows its own doubt (JCGM 106:2012).

A value is never exact, so a lot near a limit can be decided wrongly either way. The three rules
here differ in who carries that risk: ``simple`` shares it, ``guarded`` protects the buyer by
staying a guard band inside the limit, ``guarded_rejection`` speaks of non-conformity only when it
is beyond doubt. The measured value is taken as normal with no other knowledge of the lot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from scipy import integrate, special

from wareleaf.measure import require

RULES = ("simple", "guarded", "guarded_rejection")
SOURCE = "JCGM 106:2012, The role of measurement uncertainty in conformity assessment."


class Decision(StrEnum):
    """What can be said of one value against its limits."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Conformity:
    """The decision and what it rests on.

    Parameters
    ----------
    probability_conforming : float
        That the true value lies within the limits.
    acceptance_interval : tuple of (float or None, float or None)
        Measured values that are accepted; None is an open side. Both None with ``empty`` set when
        the guard bands meet.
    decision : Decision
        By the rule.
    guard_band : float
        ``guard_factor * standard_uncertainty``, 0 for the simple rule.
    empty : bool
        True when no measured value could be accepted.
    """

    probability_conforming: float
    acceptance_interval: tuple[float | None, float | None]
    decision: Decision
    guard_band: float
    empty: bool = False


def _check_numbers(value: float, u: float, factor: float) -> None:
    require(math.isfinite(value), "value", value, f"value is {value}; it must be a finite number.")
    for number, field in ((u, "standard_uncertainty"), (factor, "guard_factor")):
        require(
            math.isfinite(number) and number >= 0.0,
            field,
            number,
            f"{field} is {number}; it must be a finite number of 0 or more.",
        )


def _check_limits(lower: float | None, upper: float | None) -> None:
    require(
        lower is not None or upper is not None,
        "lower",
        None,
        "lower and upper are both missing; give at least one limit.",
    )
    if lower is not None and upper is not None:
        require(
            lower < upper,
            "lower",
            lower,
            f"lower is {lower:g} and upper is {upper:g}; lower must be the smaller.",
        )


def probability_conforming(
    value: float, standard_uncertainty: float, lower: float | None, upper: float | None
) -> float:
    """Probability that the true value lies within the limits.

    Parameters
    ----------
    value, standard_uncertainty : float
        Measured value and one standard deviation, same unit as the limits.
    lower, upper : float or None
        Tolerance limits, the limit itself included; None is an open side.

    Returns
    -------
    float
        ``Phi((upper - value)/u) - Phi((lower - value)/u)``; 0 or 1 when ``u`` is 0.

    Notes
    -----
    JCGM 106:2012, section 7 (normal distribution with an uninformative prior).
    """
    if standard_uncertainty == 0.0:
        inside = (lower is None or value >= lower) and (upper is None or value <= upper)
        return 1.0 if inside else 0.0
    above = 1.0 if upper is None else special.ndtr((upper - value) / standard_uncertainty)
    below = 0.0 if lower is None else special.ndtr((lower - value) / standard_uncertainty)
    return float(min(max(above - below, 0.0), 1.0))


def decide(
    value: float,
    standard_uncertainty: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
    rule: str = "guarded",
    guard_factor: float = 2.0,
) -> Conformity:
    """Decide whether a value conforms.

    Parameters
    ----------
    value, standard_uncertainty : float
        Measured value and one standard deviation, same unit as the limits.
    lower, upper : float or None
        Tolerance limits; at least one.
    rule : {'simple', 'guarded', 'guarded_rejection'}
        ``simple``: accepted when the value lies within the limits.
        ``guarded``: conforms a guard band inside the limits, does not conform a guard band
        outside them, and is undecided in between (hold and measure again).
        ``guarded_rejection``: the acceptance interval reaches a guard band beyond the limits;
        only outside it is the value said not to conform.
    guard_factor : float
        Guard band in standard uncertainties. 2 is the guard band ``w = U`` with ``k = 2``; 1.64
        gives 95 % on one side.

    Returns
    -------
    Conformity
        Probability, acceptance interval and decision.

    Raises
    ------
    BadInput
        No limit, limits crossed, an unknown rule, or numbers that are not finite.

    Notes
    -----
    JCGM 106:2012, section 8: simple acceptance, guarded acceptance, guarded rejection. The middle
    zone of ``guarded`` follows common practice in food control: release when
    ``value + U <= limit``, an authority rejects when ``value - U > limit``.
    """
    known = ", ".join(RULES)
    require(rule in RULES, "rule", rule, f"rule is {rule!r}; it must be one of {known}.")
    _check_numbers(value, standard_uncertainty, guard_factor)
    _check_limits(lower, upper)
    band = 0.0 if rule == "simple" else guard_factor * standard_uncertainty
    shift = -band if rule == "guarded_rejection" else band
    low = None if lower is None else lower + shift
    high = None if upper is None else upper - shift
    empty = low is not None and high is not None and low > high
    accepted = not empty and (low is None or value >= low) and (high is None or value <= high)
    far_out = (lower is not None and value < lower - band) or (
        upper is not None and value > upper + band
    )
    if accepted:
        decision = Decision.CONFORMS
    elif rule == "guarded" and not far_out:
        decision = Decision.UNDECIDED
    else:
        decision = Decision.DOES_NOT_CONFORM
    return Conformity(
        probability_conforming=probability_conforming(value, standard_uncertainty, lower, upper),
        acceptance_interval=(None, None) if empty else (low, high),
        decision=decision,
        guard_band=band,
        empty=empty,
    )


@dataclass(frozen=True)
class GlobalRisks:
    """Long-run shares over everything a works makes.

    Parameters
    ----------
    conforming : float
        Share whose true value lies within the limits.
    consumer : float
        Share that is accepted and does not conform.
    producer : float
        Share that is rejected and conforms.
    """

    conforming: float
    consumer: float
    producer: float


def global_risks(
    prior: Any,
    measurement_sd: float,
    tolerance: tuple[float, float],
    acceptance: tuple[float, float],
) -> GlobalRisks:
    """Consumer's and producer's risk of an acceptance interval for a known make.

    Parameters
    ----------
    prior : frozen distribution
        Of the true value over the make, with ``pdf``, ``cdf`` and ``ppf`` (a frozen distribution
        of `scipy.stats`).
    measurement_sd : float
        Standard uncertainty of one measurement, above 0.
    tolerance, acceptance : tuple of float
        Lower and upper; infinite for an open side.

    Returns
    -------
    GlobalRisks
        Shares, 0 to 1.

    Notes
    -----
    JCGM 106:2012, section 9.5: the product of prior and normal measurement, integrated over the
    tolerance (producer's risk) and outside it (consumer's risk).
    """
    require(
        measurement_sd > 0.0,
        "measurement_sd",
        measurement_sd,
        f"measurement_sd is {measurement_sd}; it must be above 0.",
    )
    low, high = (float(prior.ppf(q)) for q in (1e-13, 1.0 - 1e-13))
    inner_low, inner_high = max(tolerance[0], low), min(tolerance[1], high)

    def accepted(true_value: float) -> float:
        upper = special.ndtr((acceptance[1] - true_value) / measurement_sd)
        lower = special.ndtr((acceptance[0] - true_value) / measurement_sd)
        return float(upper - lower)

    def integral(a: float, b: float, sign: int) -> float:
        if b <= a:
            return 0.0
        edges = [p for p in acceptance if a < p < b]

        def f(x: float) -> float:
            share = accepted(x) if sign > 0 else 1.0 - accepted(x)
            return float(prior.pdf(x)) * share

        value: float = integrate.quad(f, a, b, points=edges or None, limit=400)[0]
        return value

    return GlobalRisks(
        conforming=float(prior.cdf(tolerance[1]) - prior.cdf(tolerance[0])),
        consumer=integral(low, inner_low, +1) + integral(inner_high, high, +1),
        producer=integral(inner_low, inner_high, -1),
    )
