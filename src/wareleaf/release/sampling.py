"""How likely a lot is accepted when only a few units of it are examined."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from wareleaf.measure import require


def _check_plan(n: int, c: int) -> None:
    require(n >= 1, "n", n, f"n is {n}; at least one unit must be examined.")
    require(0 <= c < n, "c", c, f"c is {c}; it must be from 0 to n - 1, which is {n - 1}.")


def _check_fraction(value: float, field: str) -> None:
    require(
        math.isfinite(value) and 0.0 <= value <= 1.0,
        field,
        value,
        f"{field} is {value}; it must be a fraction from 0 to 1.",
    )


def two_class(n: int, c: int, fraction_defective: float, lot_size: int | None = None) -> float:
    """Probability that a lot is accepted: at most ``c`` of ``n`` units are defective.

    Parameters
    ----------
    n, c : int
        Units examined and greatest number of defective ones.
    fraction_defective : float
        Share of defective units in the lot, 0 to 1.
    lot_size : int, optional
        Units in the lot. With it the draw is without replacement and the number of defective
        units is ``fraction_defective * lot_size``, rounded to a whole unit.

    Returns
    -------
    float
        Probability of acceptance.

    Raises
    ------
    BadInput
        For a plan that cannot be drawn.

    Notes
    -----
    Binomial ``sum C(n,i) p^i (1-p)^(n-i)``, i = 0..c (Adams and Moss, Food Microbiology, equations
    11.3 to 11.6, as reproduced); hypergeometric for a lot of known size (standard, memory).
    """
    _check_plan(n, c)
    _check_fraction(fraction_defective, "fraction_defective")
    if lot_size is None:
        return float(stats.binom.cdf(c, n, fraction_defective))
    require(
        lot_size >= n, "lot_size", lot_size, f"lot_size is {lot_size}; it must be at least n, {n}."
    )
    defective = round(fraction_defective * lot_size)
    return float(stats.hypergeom.cdf(c, lot_size, defective, n))


def three_class(n: int, c: int, fraction_marginal: float, fraction_defective: float) -> float:
    """Probability that a lot is accepted under a three-class plan.

    Parameters
    ----------
    n, c : int
        Units examined and greatest number of marginal ones.
    fraction_marginal : float
        Share of units between m and M.
    fraction_defective : float
        Share of units above M; a single one rejects the lot.

    Returns
    -------
    float
        ``sum C(n,i) pm^i (1 - pm - pd)^(n-i)``, i = 0..c (trinomial; form from memory).

    Raises
    ------
    BadInput
        For shares that are no shares.
    """
    _check_plan(n, c)
    _check_fraction(fraction_marginal, "fraction_marginal")
    _check_fraction(fraction_defective, "fraction_defective")
    good = 1.0 - fraction_marginal - fraction_defective
    require(
        good >= -1e-12,
        "fraction_marginal",
        fraction_marginal,
        "fraction_marginal and fraction_defective together are over 1.",
    )
    good = max(good, 0.0)
    return float(
        sum(math.comb(n, i) * fraction_marginal**i * good ** (n - i) for i in range(c + 1))
    )


def shares_from_counts(
    log_mean: float, log_sd: float, m_log: float, M_log: float
) -> tuple[float, float]:
    """Marginal and defective shares when log10 counts are normal.

    Parameters
    ----------
    log_mean, log_sd : float
        Mean and standard deviation of log10 cfu/g over the lot; ``log_sd`` above 0.
    m_log, M_log : float
        log10 of the limits m and M.

    Returns
    -------
    tuple of float
        Share between m and M, share above M (approach of the ICMSF; formula from memory).

    Raises
    ------
    BadInput
        When ``log_sd`` is not above 0 or ``m_log`` is not below ``M_log``.
    """
    require(
        math.isfinite(log_sd) and log_sd > 0.0,
        "log_sd",
        log_sd,
        f"log_sd is {log_sd}; it must be above 0.",
    )
    require(m_log < M_log, "m_log", m_log, f"m_log is {m_log:g}; it must be below M_log.")
    above_m = float(special.ndtr(-(m_log - log_mean) / log_sd))
    above_big_m = float(special.ndtr(-(M_log - log_mean) / log_sd))
    return above_m - above_big_m, above_big_m


def double_plan(
    fraction_defective: float, *, n1: int, accept1: int, reject1: int, n2: int, accept2: int
) -> float:
    """Probability that a lot is accepted under a double plan.

    Parameters
    ----------
    fraction_defective : float
        Share of defective units, 0 to 1.
    n1, accept1, reject1 : int
        First sample: accept up to ``accept1`` defective units, reject from ``reject1`` on.
    n2, accept2 : int
        Second sample; accept when both together have at most ``accept2`` defective units.

    Returns
    -------
    float
        Probability of acceptance (definition of a double plan, binomial).
    """
    _check_plan(n1, accept1)
    _check_fraction(fraction_defective, "fraction_defective")
    require(
        accept1 < reject1 <= accept2 + 1,
        "reject1",
        reject1,
        f"reject1 is {reject1}; it must be above accept1 and at most accept2 + 1.",
    )
    accepted = stats.binom.cdf(accept1, n1, fraction_defective)
    for found in range(accept1 + 1, reject1):
        accepted += stats.binom.pmf(found, n1, fraction_defective) * stats.binom.cdf(
            accept2 - found, n2, fraction_defective
        )
    return float(accepted)


def units_for(probability_detect: float, fraction_defective: float) -> int:
    """Least units to examine so that a lot this bad is found out with ``c = 0``.

    Parameters
    ----------
    probability_detect : float
        Wanted probability, between 0 and 1.
    fraction_defective : float
        Share of defective units, between 0 and 1.

    Returns
    -------
    int
        ``ceil(ln(1 - P) / ln(1 - p))`` (from the binomial with c = 0).
    """
    for value, field in (
        (probability_detect, "probability_detect"),
        (fraction_defective, "fraction_defective"),
    ):
        require(0.0 < value < 1.0, field, value, f"{field} is {value}; it must be within 0 and 1.")
    return math.ceil(math.log1p(-probability_detect) / math.log1p(-fraction_defective) - 1e-9)


def operating_curve(
    n: int, c: int, fraction_defective: NDArray[np.float64], lot_size: int | None = None
) -> NDArray[np.float64]:
    """Operating characteristic of a two-class plan: `two_class` over an array of shares."""
    return np.array([two_class(n, c, float(p), lot_size) for p in fraction_defective])
