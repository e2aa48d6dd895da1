"""How the works' rate moves over time: a local level with its band, and a CUSUM that speaks up.

The level walks at random, y_k = level_k + e_k, level_(k+1) = level_k + w_k with the variance of w
in proportion to the days between; Kalman filter and fixed-interval smoother, the walk's variance
by maximum likelihood (Durbin and Koopman, Time Series Analysis by State Space Methods, chapter 2,
from memory). Whether it drifts at all is asked of a two-sided CUSUM with a stated chance of a false
alarm, because a likelihood alone finds some walk in every short series.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from wareleaf.leaf._arrays import Array
from wareleaf.measure.charts import D2_N2, DRAWS, SEED, tabular_cusum

FALSE_ALARM = 0.005  # over the whole series (own choice, as the watch's)
ALLOWANCE = 0.5  # of the CUSUM, in standard deviations: tuned to a shift of one (NIST 6.3.2.3)
FEWEST = 8
_Z95 = 1.959964


@dataclass(frozen=True)
class Course:
    """The works' mean over time.

    Parameters
    ----------
    time_d : tuple of float
        Of each run.
    multiplier, low, high : tuple of float
        Smoothed level and its 95 % band, over the profile's rate.
    run_multiplier : tuple of float
        What each run said alone.
    walk_log_sd_per_week : float
        Standard deviation of the level's walk in a week.
    drifting : bool
        The CUSUM spoke.
    noticed_d : float or None
        When it spoke first.
    change_share : float
        Level at the end over that at the start, less one.
    sentence : str
        For people.
    """

    time_d: tuple[float, ...]
    multiplier: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    run_multiplier: tuple[float, ...]
    walk_log_sd_per_week: float
    drifting: bool
    noticed_d: float | None
    change_share: float
    sentence: str


@dataclass(frozen=True)
class Level:
    """A local level through a series.

    Parameters
    ----------
    mean, variance : ndarray
        Smoothed, at each time.
    log_likelihood : float
        Diffuse: the first observation sets the level and is left out.
    """

    mean: Array
    variance: Array
    log_likelihood: float


def local_level(y: Array, noise_variance: Array, gaps: Array, walk_variance: float) -> Level:
    """Smooth a series with a level that walks.

    Parameters
    ----------
    y, noise_variance : ndarray
        Observations and their variances.
    gaps : ndarray
        Time from each observation to the next, one fewer than ``y``.
    walk_variance : float
        Of the level, per unit of time.
    """
    one = _filtered(y, noise_variance, gaps, np.array([walk_variance]))
    filtered, spread, fit = one[0][:, 0], one[1][:, 0], float(one[2][0])
    ahead: Array = walk_variance * np.asarray(gaps, float)
    mean, variance = filtered.copy(), spread.copy()
    for k in range(y.size - 2, -1, -1):
        before = spread[k] + ahead[k]
        gain = spread[k] / before
        mean[k] = filtered[k] + gain * (mean[k + 1] - filtered[k])
        variance[k] = spread[k] + gain * gain * (variance[k + 1] - before)
    return Level(mean, variance, fit)


def _filtered(
    y: Array, noise_variance: Array, gaps: Array, walks: Array
) -> tuple[Array, Array, Array]:
    """Mean and variance of the level at each time (rows) and the fit, for many walks (columns)."""
    level, spread = np.empty((y.size, walks.size)), np.empty((y.size, walks.size))
    level[0], spread[0] = y[0], noise_variance[0]
    fit = np.zeros(walks.size)
    for k in range(1, y.size):
        before = spread[k - 1] + walks * gaps[k - 1]
        total = before + noise_variance[k]
        miss = y[k] - level[k - 1]
        fit -= 0.5 * (np.log(2.0 * math.pi * total) + miss * miss / total)
        level[k] = level[k - 1] + before / total * miss
        spread[k] = before * noise_variance[k] / total
    return level, spread, fit


def likeliest_walk(y: Array, noise_variance: Array, gaps: Array) -> float:
    """Variance of the walk per unit of time of greatest likelihood; 0 when the level stands."""
    days = float(np.sum(gaps))
    if y.size < 3 or days <= 0.0:
        return 0.0
    size = float(np.mean(noise_variance)) * y.size / days
    tried = np.concatenate([[0.0], size * np.geomspace(1e-5, 10.0, 121)])
    return float(tried[int(np.argmax(_filtered(y, noise_variance, gaps, tried)[2]))])


def course_of(time_d: Array, y: Array, sd: Array) -> Course:
    """The course of log multipliers in order of time; ``sd`` is each run's whole scatter."""
    gaps = np.diff(time_d)
    variance = np.maximum(sd, 1e-9) ** 2
    walk = likeliest_walk(y, variance, gaps)
    level = local_level(y, variance, gaps, walk)
    half = _Z95 * np.sqrt(level.variance)
    noticed = _noticed(y)
    change = math.expm1(float(level.mean[-1] - level.mean[0]))
    return Course(
        time_d=tuple(time_d.tolist()),
        multiplier=tuple(np.exp(level.mean).tolist()),
        low=tuple(np.exp(level.mean - half).tolist()),
        high=tuple(np.exp(level.mean + half).tolist()),
        run_multiplier=tuple(np.exp(y).tolist()),
        walk_log_sd_per_week=math.sqrt(7.0 * walk),
        drifting=noticed is not None,
        noticed_d=None if noticed is None else float(time_d[noticed]),
        change_share=change,
        sentence=_say(y.size, noticed, change),
    )


def _noticed(y: Array) -> int | None:
    """Run at which a CUSUM about the mean speaks, None when it stays silent.

    The yardstick is the scatter from run to run (mean moving range over d2, NIST 6.3.2.2): a shift
    widens the scatter of the whole series, and would hide itself in it.
    """
    if y.size < FEWEST:
        return None
    short = float(np.mean(np.abs(np.diff(y)))) / D2_N2
    if short <= 0.0:
        return None
    z = ((y - y.mean()) / short).tolist()
    spoke = tabular_cusum(z, target=0.0, k=ALLOWANCE, h=_limit(int(y.size))).signals
    return spoke[0] if spoke else None


@cache
def _limit(n: int) -> float:
    """Decision limit at which ``n`` steady runs rarely speak; own simulation of this very chart.

    Mean and yardstick are taken from each simulated series too, as they are from the real one.
    """
    noise = np.random.default_rng(SEED).standard_normal((n, DRAWS))
    short = np.mean(np.abs(np.diff(noise, axis=0)), axis=0) / D2_N2
    up = down = worst = np.zeros(DRAWS)
    for x in (noise - noise.mean(axis=0)) / short:
        up, down = np.maximum(0.0, up + x - ALLOWANCE), np.maximum(0.0, down - x - ALLOWANCE)
        worst = np.maximum(worst, np.maximum(up, down))
    return float(np.quantile(worst, 1.0 - FALSE_ALARM))


def _say(n: int, noticed: int | None, change: float) -> str:
    if n < FEWEST:
        return f"Drift is not looked for in fewer than {FEWEST} runs."
    if noticed is None:
        return "No drift shows over these runs."
    way = "up" if change > 0.0 else "down"
    return (
        f"It drifts: from first to last run the rate went {way} by {100 * abs(change):.0f} %. "
        "Look at the leaf, the burner and the meters before you change a figure."
    )
