"""A works' own drying rate, learned from many runs, with its spread from lot to lot and its drift.

Each run says how much faster or slower than its profile a lot dried: the logarithm of a multiplier
with its own uncertainty. Lots scatter about the works' mean; the mean starts from the profile:

    y_i ~ N(mean, lot_sd^2 + u_i^2),   mean ~ N(0, prior_sd^2),
    lot_sd^2 ~ scaled inverse chi-square(weight, prior lot_sd^2).

Given lot_sd the mean is conjugate normal, so it is summed in closed form; lot_sd is summed over a
fine grid. This is the standard normal hierarchical model (Gelman et al., Bayesian Data Analysis,
from memory). Drift is in `learned_course`. Times are in days, logarithms are natural.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf._arrays import Array
from wareleaf.leaf.catalogue import with_figures
from wareleaf.leaf.learned_course import Course, course_of
from wareleaf.leaf.profiles import REGIMES, LeafProfile
from wareleaf.measure import Evidence, require

FEWEST = 5  # runs below which no figure is proposed (own choice)
PROFILE_LOG_SD = 0.4  # how far a works' mean may lie from a profile drawn from papers (own choice)
PRIOR_WEIGHT = 4.0  # runs that the profile's lot-to-lot figure is worth (own choice)
_GRID = 801
_Z95 = 1.959964


@dataclass(frozen=True)
class RateSeen:
    """What one run says of the rate.

    Parameters
    ----------
    time_d : float
        When, days on any scale.
    log_multiplier : float
        Natural logarithm of its rate over the profile's.
    log_sd : float
        Its own standard uncertainty (meters, feed, air), lot-to-lot scatter left out.
    run_id : str
        Which run.
    """

    time_d: float
    log_multiplier: float
    log_sd: float
    run_id: str = ""


@dataclass(frozen=True)
class RatePrior:
    """What is believed before the runs.

    Parameters
    ----------
    log_sd : float
        Of the works' mean about the profile.
    lot_log_sd : float
        Lot-to-lot, by the profile.
    weight : float
        Runs that figure is worth.
    """

    log_sd: float = PROFILE_LOG_SD
    lot_log_sd: float = 0.15
    weight: float = PRIOR_WEIGHT


@dataclass(frozen=True)
class LearnedRate:
    """The works' own rate over the profile's.

    Parameters
    ----------
    n : int
        Runs.
    multiplier, low, high : float
        Of the works' mean: median and 95 % interval.
    log_mean, log_sd : float
        The same as a logarithm.
    lot_log_sd, lot_low, lot_high : float
        Lot-to-lot standard deviation: median and 95 % interval.
    next_low, next_high : float
        95 % band of the multiplier of the next lot.
    course : Course
        The mean over time, and whether it drifts.
    """

    n: int
    multiplier: float
    low: float
    high: float
    log_mean: float
    log_sd: float
    lot_log_sd: float
    lot_low: float
    lot_high: float
    next_low: float
    next_high: float
    course: Course

    @property
    def enough(self) -> bool:
        """Whether there are enough runs to propose a figure."""
        return self.n >= FEWEST

    @property
    def differs(self) -> bool:
        """Whether the profile's own rate lies outside the 95 % interval."""
        return not self.low <= 1.0 <= self.high

    @property
    def sentence(self) -> str:
        """For people."""
        if not self.enough:
            return f"{self.n} run{'s' if self.n != 1 else ''} so far; {FEWEST} are needed to tell."
        pace = "faster" if self.multiplier > 1.0 else "slower"
        share = 100.0 * abs(self.multiplier - 1.0)
        span = f"{100 * (self.low - 1):+.0f} to {100 * (self.high - 1):+.0f} %, {self.n} runs"
        if not self.differs:
            said = f"Lots dry as the profile says, within what the runs can tell ({span})."
        else:
            said = f"Lots dry {share:.0f} % {pace} than the profile says ({span})."
        return f"{said} {self.course.sentence}"


def learn_rate(seen: Sequence[RateSeen], prior: RatePrior | None = None) -> LearnedRate:
    """Learn the works' mean rate and its lot-to-lot spread.

    Parameters
    ----------
    seen : sequence of RateSeen
        At least one run, any order.
    prior : RatePrior or None
        Before the runs; None takes the defaults.

    Raises
    ------
    BadInput
        No runs, numbers that are not finite, or uncertainties below 0.
    """
    prior = prior or RatePrior()
    _check(seen, prior)
    rows = sorted(seen, key=lambda s: s.time_d)
    y = np.array([s.log_multiplier for s in rows])
    own = np.array([s.log_sd for s in rows])
    lot, weight = _lot_posterior(y, own, prior)
    mean, var = mean_given_lot_sd(y, own, lot, prior.log_sd)
    log_mean = float(weight @ mean)
    log_sd = math.sqrt(float(weight @ (var + (mean - log_mean) ** 2)))
    below = np.cumsum(weight)
    lot_low, lot_mid, lot_high = (float(np.interp(q, below, lot)) for q in (0.025, 0.5, 0.975))
    next_sd = math.sqrt(float(weight @ (var + (mean - log_mean) ** 2 + lot**2)))
    return LearnedRate(
        n=len(rows),
        multiplier=math.exp(log_mean),
        low=math.exp(log_mean - _Z95 * log_sd),
        high=math.exp(log_mean + _Z95 * log_sd),
        log_mean=log_mean,
        log_sd=log_sd,
        lot_log_sd=lot_mid,
        lot_low=lot_low,
        lot_high=lot_high,
        next_low=math.exp(log_mean - _Z95 * next_sd),
        next_high=math.exp(log_mean + _Z95 * next_sd),
        course=course_of(np.array([s.time_d for s in rows]), y, np.hypot(own, lot_mid)),
    )


def mean_given_lot_sd(
    y: Array, own_sd: Array, lot_sd: Array, prior_sd: float = math.inf
) -> tuple[Array, Array]:
    """Mean and variance of the works' mean for each lot-to-lot sd, conjugate normal."""
    precision = 1.0 / (lot_sd[:, None] ** 2 + own_sd[None, :] ** 2)
    total = precision.sum(axis=1) + 1.0 / prior_sd**2
    return (precision @ y) / total, 1.0 / total


def _lot_posterior(y: Array, own: Array, prior: RatePrior) -> tuple[Array, Array]:
    """Grid of lot-to-lot sd and the posterior weight of each point, the mean summed out."""
    scale = prior.lot_log_sd
    spread = float(np.std(y)) if y.size > 1 else 0.0
    top = 6.0 * max(scale, spread)
    lot = np.geomspace(0.02 * scale, top, _GRID)
    mean, var = mean_given_lot_sd(y, own, lot, prior.log_sd)
    total = lot[:, None] ** 2 + own[None, :] ** 2
    fit = -0.5 * (np.log(total) + (y[None, :] - mean[:, None]) ** 2 / total).sum(axis=1)
    fit += 0.5 * np.log(var) - 0.5 * mean**2 / prior.log_sd**2
    # Density of lot_sd by ln(lot_sd): v^(-w/2) exp(-w s^2/(2 v)), v its square.
    fit += -prior.weight * np.log(lot) - 0.5 * prior.weight * scale**2 / lot**2
    weight = np.exp(fit - fit.max())
    return lot, weight / weight.sum()


def _check(seen: Sequence[RateSeen], prior: RatePrior) -> None:
    require(len(seen) > 0, "runs", 0, "runs is empty; learning takes at least one run.")
    for row in seen:
        good = all(math.isfinite(v) for v in (row.time_d, row.log_multiplier, row.log_sd))
        require(
            good and row.log_sd >= 0.0,
            "log_multiplier",
            row.log_multiplier,
            f"Run {row.run_id or '(unnamed)'} gives log_multiplier {row.log_multiplier} with "
            f"log_sd {row.log_sd}; both must be numbers, log_sd 0 or more.",
        )
    for name in ("log_sd", "lot_log_sd", "weight"):
        value = getattr(prior, name)
        require(
            math.isfinite(value) and value > 0.0,
            name,
            value,
            f"{name} of the prior is {value}; it must be above 0.",
        )


def rate_figures(profile: LeafProfile, regime: str, learned: LearnedRate) -> dict[str, float]:
    """The figures of a profile that the runs speak to: the rate and its lot-to-lot spread.

    The spread is that of the next lot: lots about the mean and the mean's own doubt.
    """
    require(
        regime in REGIMES,
        "regime",
        regime,
        f"regime is {regime!r}; it must be dry or wither.",
    )
    law = profile.dry if regime == "dry" else profile.wither
    spread = math.sqrt(math.expm1(learned.lot_log_sd**2 + learned.log_sd**2))
    return {
        f"{regime}.rate_per_h": law.rate_per_h * learned.multiplier,
        f"{regime}.relative_sd": min(1.0, spread),
    }


def own_profile(profile: LeafProfile, figures: dict[str, float], note: str) -> LeafProfile:
    """A works' own profile with figures from its own runs, marked as derived."""
    return with_figures(profile, figures, evidence=Evidence.DERIVED, note=note)
