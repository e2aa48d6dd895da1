"""A works' own drying rate, learned from many runs, with its spread from lot to lot and its drift.

Each run says how much faster or slower than its profile a lot dried: the logarithm of a multiplier,
either as a number with its own uncertainty or, where that is no bell (leaf that is dry early says
only "at least so fast", and two rates may give one moisture), as a likelihood laid out over
`LOG_RATES`. Lots scatter about the works' mean; the mean starts from the profile:

    x_i ~ N(mean, lot_sd^2),   what was read of run i ~ L_i(x_i),   mean ~ N(0, prior_sd^2),
    lot_sd^2 ~ scaled inverse chi-square(weight, prior lot_sd^2).

Both unknowns are summed over a fine grid, each run's own rate being integrated out first; a run's
likelihood holds no prior, so the prior counts once however many runs there are. With numbers for
all runs this is the standard normal hierarchical model (Gelman et al., Bayesian Data Analysis,
from memory). Drift is in `learned_course`. Times are in days, logarithms are natural.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf.catalogue import with_figures
from wareleaf.leaf.learned_course import Course, course_of
from wareleaf.leaf.learned_grid import (
    LOG_RATES,
    RatePrior,
    RateSeen,
    log_likelihood,
    mean_given_lot_sd,
    posterior,
    summaries,
)
from wareleaf.leaf.profiles import REGIMES, LeafProfile
from wareleaf.measure import Evidence, require

__all__ = [
    "FEWEST",
    "LOG_RATES",
    "LearnedRate",
    "RatePrior",
    "RateSeen",
    "learn_rate",
    "log_likelihood",
    "mean_given_lot_sd",
    "own_profile",
    "rate_figures",
]

FEWEST = 5  # runs below which no figure is proposed (own choice)
_Z95 = 1.959964


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
    now_log_mean, now_log_sd : float
        What to expect of the works' mean now: where it drifts, the end of its course.
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
    now_log_mean: float
    now_log_sd: float

    @property
    def enough(self) -> bool:
        """Whether there are enough runs to propose a figure."""
        return self.n >= FEWEST

    @property
    def differs(self) -> bool:
        """Whether the profile's own rate lies outside the 95 % interval."""
        return not self.low <= 1.0 <= self.high

    @property
    def too_few(self) -> str:
        """For people, while there are too few runs."""
        return f"{self.n} run{'s' if self.n != 1 else ''} so far; {FEWEST} are needed to tell."

    @property
    def span(self) -> str:
        """The 95 % interval and the runs it is from, for people."""
        return f"{100 * (self.low - 1):+.0f} to {100 * (self.high - 1):+.0f} %, {self.n} runs"

    def said(self, does: str, source: str) -> str:
        """For people.

        Parameters
        ----------
        does, source : str
            What lots do at the rate ("dry"), and whose rate it is held against ("the profile").
        """
        if not self.enough:
            return self.too_few
        pace = "faster" if self.multiplier > 1.0 else "slower"
        share = 100.0 * abs(self.multiplier - 1.0)
        if not self.differs:
            said = f"Lots {does} as {source} says, within what the runs can tell ({self.span})."
        else:
            said = f"Lots {does} {share:.0f} % {pace} than {source} says ({self.span})."
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
    found = posterior(rows, prior)
    log_mean, var = found.mean, found.variance
    log_sd = math.sqrt(var)
    below = np.cumsum(found.lot_weight)
    lot_low, lot_mid, lot_high = (
        float(np.interp(q, below, found.lot)) for q in (0.025, 0.5, 0.975)
    )
    lot_var = float(found.lot_weight @ found.lot**2)
    next_sd = math.sqrt(var + lot_var)
    y, own = summaries(rows, log_mean, var + lot_var)
    course = course_of(np.array([s.time_d for s in rows]), y, np.hypot(own, lot_mid))
    drifts = course.drifting
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
        course=course,
        now_log_mean=math.log(course.multiplier[-1]) if drifts else log_mean,
        now_log_sd=math.log(course.high[-1] / course.low[-1]) / (2 * _Z95) if drifts else log_sd,
    )


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
        laid = row.log_likelihood
        require(
            laid is None or (len(laid) == LOG_RATES.size and max(laid) > -math.inf),
            "log_likelihood",
            None if laid is None else len(laid),
            f"Run {row.run_id or '(unnamed)'} gives a log_likelihood of "
            f"{0 if laid is None else len(laid)} values; it takes {LOG_RATES.size}, one for each "
            "rate of LOG_RATES, not all minus infinity.",
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
