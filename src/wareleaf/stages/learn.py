"""Learning from readings: prior knowledge of a stage's constants, corrected by what was read.

A stage's model has a few uncertain factors with a prior spread around zero (mostly logarithms of
multipliers). Readings with their uncertainty move them. Gauss-Newton steps find the most probable
factors; the curvature there gives their spread, and a linear step carries that to any quantity.
This is the standard non-linear Bayesian estimate with normal errors; nothing in it is of the trade.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wareleaf.stages.common import Array

Model = Callable[[Array], Array]
_STEP = 0.02  # of the prior spread, for differences


@dataclass(frozen=True)
class Learned:
    """Factors after the readings.

    Parameters
    ----------
    factors : ndarray
        Most probable values.
    covariance : ndarray
        Their covariance.
    prior_sd : ndarray
        The spread before the readings.
    misfit : float
        Largest gap between a reading and the fitted model, in standard uncertainties.
    """

    factors: Array
    covariance: Array
    prior_sd: Array
    misfit: float


def _slope(model: Model, at: Array, prior_sd: Array, base: Array) -> Array:
    columns = []
    for i, sd in enumerate(prior_sd):
        moved = at.copy()
        moved[i] += _STEP * sd
        columns.append((model(moved) - base) / (_STEP * sd))
    return np.stack(columns, axis=-1)


def learn(
    model: Model, prior_sd: Array, values: Array, standard_uncertainty: Array, rounds: int = 5
) -> Learned:
    """Correct the factors of a model by readings.

    Parameters
    ----------
    model : callable
        Gives the predicted readings for a vector of factors; zero is the prior mean.
    prior_sd : ndarray
        Prior standard deviation of each factor, above 0.
    values, standard_uncertainty : ndarray
        The readings; may be empty, then the prior comes back.
    rounds : int
        Gauss-Newton steps at most.
    """
    prior_sd = np.asarray(prior_sd, float)
    factors: Array = np.zeros(prior_sd.size)
    precision = np.diag(1.0 / prior_sd**2)
    if values.size == 0:
        return Learned(factors, np.diag(prior_sd**2), prior_sd, 0.0)
    weight = 1.0 / standard_uncertainty**2
    covariance: Array = np.diag(prior_sd**2)
    base = model(factors)
    for _ in range(rounds):
        slope = _slope(model, factors, prior_sd, base)
        covariance = np.asarray(
            np.linalg.inv(precision + slope.T @ (weight[:, None] * slope)), float
        )
        target = values - base + slope @ factors
        wanted = covariance @ (slope.T @ (weight * target))
        step = np.clip(wanted - factors, -2.0 * prior_sd, 2.0 * prior_sd)
        factors = np.asarray(factors + step, float)
        base = model(factors)
        if float(np.max(np.abs(step) / prior_sd)) < 1e-3:
            break
    misfit = float(np.max(np.abs(values - base) / standard_uncertainty))
    return Learned(factors, covariance, prior_sd, misfit)


def carry(quantity: Model, learned: Learned) -> tuple[Array, Array]:
    """Value and standard deviation of quantities under the learned factors, to first order."""
    base = quantity(learned.factors)
    slope = _slope(quantity, learned.factors, learned.prior_sd, base)
    spread = np.sqrt(
        np.maximum(0.0, np.einsum("...i,ij,...j->...", slope, learned.covariance, slope))
    )
    return base, spread
