"""Standard uncertainty of every amount after reconciliation, of those the balances give too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wareleaf.book.reconcile.balances import Balances, Problem

Vector = NDArray[np.float64]

_SEED = 20_260_412
_AT_ONCE = 64
MOST_EXACT = 500
"""Given streams from which on their uncertainty is simulated (one solve each; our choice)."""


@dataclass(frozen=True)
class Uncertainties:
    """Standard uncertainty of each amount; ``weight`` is the diagonal of W."""

    sd: Vector
    weight: Vector
    simulated: bool


def uncertainties(problem: Problem, balances: Balances) -> Uncertainties:
    """Standard uncertainties of all amounts that can be said; 0 elsewhere."""
    given = problem.given
    bridges = np.flatnonzero(given.bridge)
    weight = balances.weights()
    variance = np.where(problem.measured, problem.variance, 0.0)
    draw = weight is None or len(bridges) > MOST_EXACT
    if weight is not None:
        own = balances.variance
        variance[balances.which] = np.maximum(own - own**2 * weight, 0.0)
    if draw:
        rng = np.random.default_rng(_SEED)
        simulated, pulls = _simulated(problem, balances, rng)
        if weight is None:
            weight = np.mean(pulls**2, axis=1)
            variance = np.mean(simulated**2, axis=1)
        variance[bridges] = np.mean(simulated[bridges] ** 2, axis=1)
    else:
        for k in range(0, len(bridges), _AT_ONCE):
            some = bridges[k : k + _AT_ONCE]
            variance[some] = _exact(problem, balances, some)
    assert weight is not None
    return Uncertainties(np.sqrt(np.maximum(variance, 0.0)), weight, draw)


def _simulated(
    problem: Problem, balances: Balances, rng: np.random.Generator
) -> tuple[Vector, Vector]:
    """Errors that are left after reconciling simulated errors, and their pulls."""
    error, pull = balances.simulated(rng)
    left = np.zeros((len(problem.value), error.shape[1]))
    free = np.flatnonzero(problem.measured & ~balances.redundant)
    left[free] = rng.standard_normal((len(free), error.shape[1]))
    left[free] *= np.sqrt(problem.variance[free])[:, None]
    left[balances.which] = error - balances.variance[:, None] * pull
    problem.fill_in(left)
    return left, pull


def _exact(problem: Problem, balances: Balances, bridges: NDArray[np.int64]) -> Vector:
    """Variance of given streams: each is a sum of measured ones over a cut of the network.

    Filling in is linear; this is its transpose, for several streams at once.
    """
    factors = _factors(problem, bridges)
    own = problem.variance[:, None] * factors
    alone = np.einsum("ij,ij->j", factors, own)
    reach = balances.imbalance(own[balances.which])
    keep = balances.row >= 0
    return np.asarray(alone - np.einsum("ij,ij->j", reach[keep], balances.potentials(reach)))


def _factors(problem: Problem, bridges: NDArray[np.int64]) -> Vector:
    """How each measured stream counts in each of some bridges (+1, -1 or 0), streams x bridges."""
    net = problem.net
    each = np.zeros((len(net.start), len(bridges)))
    each[bridges, np.arange(len(bridges))] = 1.0
    inside = problem.given.counts(each)
    factors: Vector = inside[net.end] - inside[net.start]
    factors[~problem.measured] = 0.0
    return factors
