"""What many runs say together of a works' rate: the sum over mean and lot-to-lot spread.

The model stands in `learned`; here is how it is summed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtr

from wareleaf.leaf._arrays import Array

PROFILE_LOG_SD = 0.4  # how far a works' mean may lie from a profile drawn from papers (own choice)
PRIOR_WEIGHT = 4.0  # runs that the profile's lot-to-lot figure is worth (own choice)
LOG_RATES: Array = np.linspace(-1.2, 1.2, 121)
"""Where a run's likelihood is laid out: rates from 0.3 to 3.3 times the profile's."""
_LOT, _MEAN = 41, 61
_WIDE_SD = 6.0
_FAR_Z, _POINTS = 4.0, 41
_CELL = float(LOG_RATES[1] - LOG_RATES[0])
_LEAST_SAID = 0.01  # of the belief's precision: below, a run says nothing of the course


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
    log_likelihood : tuple of float or None
        Of the lot's log multiplier on `LOG_RATES`, up to a constant; the number and its
        uncertainty are then only a summary and are not used. None: normal about the number.
    """

    time_d: float
    log_multiplier: float
    log_sd: float
    run_id: str = ""
    log_likelihood: tuple[float, ...] | None = None


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


def log_likelihood(value: float, value_sd: float, log_mean: Array, log_sd: Array) -> Array:
    """Logarithm of the chance density of a reading, for each of many beliefs of what was read.

    A belief is log-normal (what the model says at a rate, with the spread of all but the rate), the
    reading's error is normal; their sum is taken point by point, so a value near 0, or below it, as
    a meter shows on bone-dry leaf, is as good as any other.

    Parameters
    ----------
    value, value_sd : float
        The reading and its standard uncertainty, above 0.
    log_mean, log_sd : ndarray
        Of the natural logarithm of the true value, one for each belief.
    """
    z = np.linspace(-_FAR_Z, _FAR_Z, _POINTS)
    share = np.exp(-0.5 * z**2) / np.exp(-0.5 * z**2).sum()
    true = np.exp(log_mean[:, None] + log_sd[:, None] * z)
    # No narrower than the points are apart, or the sum would be that of a comb.
    apart = true * log_sd[:, None] * (z[1] - z[0])
    sd = np.hypot(value_sd, 0.5 * apart)
    part = -0.5 * ((value - true) / sd) ** 2 - np.log(sd) + np.log(share)
    return np.asarray(logsumexp(part, axis=1))


def mean_given_lot_sd(
    y: Array, own_sd: Array, lot_sd: Array, prior_sd: float = math.inf
) -> tuple[Array, Array]:
    """Mean and variance of the works' mean for each lot-to-lot sd, conjugate normal."""
    precision = 1.0 / (lot_sd[:, None] ** 2 + own_sd[None, :] ** 2)
    total = precision.sum(axis=1) + 1.0 / prior_sd**2
    return (precision @ y) / total, 1.0 / total


@dataclass(frozen=True)
class Posterior:
    """Of the mean (first two moments), and the lot-to-lot sd on its grid."""

    mean: float
    variance: float
    lot: Array
    lot_weight: Array


def posterior(rows: Sequence[RateSeen], prior: RatePrior) -> Posterior:
    """Sum over a grid of mean and lot-to-lot sd; the grid is drawn in about the answer."""
    y, _ = summaries(rows, 0.0, prior.log_sd**2 + prior.lot_log_sd**2)
    top = 6.0 * max(prior.lot_log_sd, float(np.std(y)) if y.size > 1 else 0.0)
    low, high = math.log(0.02 * prior.lot_log_sd), math.log(top)
    centre, half = 0.0, _WIDE_SD * prior.log_sd
    # A wide look first; then twice nearer, so that the grid stays fine however many runs there are.
    for _ in range(3):
        log_lot = np.linspace(low, high, _LOT)
        lot = np.exp(log_lot)
        mean = np.linspace(centre - half, centre + half, _MEAN)
        weight = _weights(rows, lot, mean, prior)
        of_mean = weight.sum(axis=0)
        centre = float(of_mean @ mean)
        variance = float(of_mean @ (mean - centre) ** 2)
        half = min(half, _WIDE_SD * max(math.sqrt(variance), mean[1] - mean[0]))
        of_lot = weight.sum(axis=1)
        middle = float(of_lot @ log_lot)
        reach = _WIDE_SD * max(
            math.sqrt(float(of_lot @ (log_lot - middle) ** 2)), log_lot[1] - log_lot[0]
        )
        low, high = max(low, middle - reach), min(high, middle + reach)
    return Posterior(centre, variance, lot, of_lot)


def _weights(rows: Sequence[RateSeen], lot: Array, mean: Array, prior: RatePrior) -> Array:
    """Posterior weight of each (lot-to-lot sd, mean), adding to 1."""
    # Density of lot_sd by ln(lot_sd): v^(-w/2) exp(-w s^2/(2 v)), v its square.
    fit = -prior.weight * np.log(lot) - 0.5 * prior.weight * prior.lot_log_sd**2 / lot**2
    total = fit[:, None] - 0.5 * mean[None, :] ** 2 / prior.log_sd**2
    plain = [r for r in rows if r.log_likelihood is None]
    if plain:
        y, own = (np.array([getattr(r, n) for r in plain]) for n in ("log_multiplier", "log_sd"))
        v = lot[:, None] ** 2 + own[None, :] ** 2
        # Sum over runs of (y - mean)^2 / v, opened up so that no cube of numbers is made.
        square = (y**2 / v).sum(axis=1)[:, None] - 2.0 * (y / v).sum(axis=1)[:, None] * mean
        square = square + (1.0 / v).sum(axis=1)[:, None] * mean**2
        total = total - 0.5 * (np.log(v).sum(axis=1)[:, None] + square)
    laid = [r.log_likelihood for r in rows if r.log_likelihood is not None]
    if laid:
        table = np.array(laid)
        table = np.exp(table - table.max(axis=1, keepdims=True))
        total = total + np.log(_smeared(table, lot, mean)).sum(axis=0)
    weight = np.exp(total - total.max())
    return np.asarray(weight / weight.sum())


def _smeared(likelihood: Array, lot: Array, mean: Array) -> Array:
    """Chance of each run's reading for a mean and a lot-to-lot sd, (runs, lot, mean).

    The likelihood is a straight line between grid points outside of which it stays as at the ends;
    the normal is taken exactly over each cell, so a lot-to-lot sd below the grid's step is right.
    """
    edges = 0.5 * (LOG_RATES[1:] + LOG_RATES[:-1])
    found = np.empty((len(likelihood), lot.size, mean.size))
    for i, sd in enumerate(lot):
        below = ndtr((edges[None, :] - mean[:, None]) / max(float(sd), 0.5 * _CELL))
        share = np.diff(below, axis=1, prepend=0.0, append=1.0)
        found[:, i, :] = likelihood @ share.T
    return np.maximum(found, 1e-300)


def summaries(rows: Sequence[RateSeen], mean: float, variance: float) -> tuple[Array, Array]:
    """Each run as a number with an uncertainty, as seen from N(mean, variance) for its rate.

    A likelihood that is no bell is replaced by the normal that moves that belief to the same first
    two moments (as expectation propagation does); one that hardly moves it gets the mean and an
    uncertainty of ten times the belief's.
    """
    y, own = [], []
    before = np.exp(-0.5 * (LOG_RATES - mean) ** 2 / variance)
    for row in rows:
        if row.log_likelihood is None:
            y.append(row.log_multiplier)
            own.append(row.log_sd)
            continue
        table = np.array(row.log_likelihood)
        weight = before * np.exp(table - table.max())
        weight = weight / weight.sum()
        at = float(weight @ LOG_RATES)
        left = float(weight @ (LOG_RATES - at) ** 2)
        precision = 1.0 / left - 1.0 / variance
        if precision < _LEAST_SAID / variance:
            y.append(mean)
            own.append(math.sqrt(variance / _LEAST_SAID))
            continue
        y.append((at / left - mean / variance) / precision)
        own.append(math.sqrt(1.0 / precision))
    return np.array(y), np.array(own)
