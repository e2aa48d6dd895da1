"""Keep amounts from falling below zero: an active-set method on top of the balances.

Streams that would be negative are held at zero, and let go when the optimum wants them above it
(block principal pivoting, Portugal, Judice and Vicente 1994, with single steps by lowest index when
blocks do not help; from memory). The result meets the optimality conditions of the bounded problem.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wareleaf.book.reconcile.balances import Balances, Problem
from wareleaf.book.reconcile.network import fill_in
from wareleaf.book.reconcile.solvers import MOST_WORK
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]
Mask = NDArray[np.bool_]

_PATIENCE = 3
_MOST_ROUNDS = 200


def amounts(problem: Problem, balances: Balances) -> tuple[Vector, Mask, Vector]:
    """Reconciled amounts without bounds.

    Returns
    -------
    tuple
        Amounts (0 where nobody can say), whether an amount is known at all, and the potential of
        every node.
    """
    x = problem.value.copy()
    measured = x[balances.which]
    came = balances.known_in + balances.imbalance(measured)
    potential = balances.potentials(came)
    x[balances.which] = measured - balances.variance * balances.spread(potential)
    given = problem.given
    x = fill_in(problem.net, given, x)
    at_group = np.append(potential, 0.0)[balances.row]
    return x, ~problem.unmeasured | given.bridge, at_group[balances.group]


def not_negative(
    problem: Problem, free: Vector, said: Mask, most_work: float = MOST_WORK
) -> tuple[Vector, Mask]:
    """Amounts with the zero bounds, and which streams they hold.

    Parameters
    ----------
    problem : Problem
        As given.
    free : array
        Amounts without bounds.
    said : array
        Where an amount is known.
    most_work : float
        From how many multiplications on the systems are solved by iteration.
    """
    tiny = 1e-9 * max(float(np.abs(free[said]).max(initial=0.0)), 1e-12)
    may: Mask = ~problem.known
    held: Mask = np.zeros(len(free), dtype=bool)
    x, wrong = free, may & said & (free < -tiny)
    fewest, patience = len(free) + 1, _PATIENCE
    for _ in range(_MOST_ROUNDS):
        count = int(wrong.sum())
        if count == 0:
            return np.where(held, 0.0, x), held
        if count < fewest:
            fewest, patience = count, _PATIENCE
        else:
            patience -= 1
        if patience > 0:
            held = held ^ wrong
        else:
            one = np.flatnonzero(wrong)[-1]
            held[one] = not held[one]
        x, wrong = _held_at_zero(problem, held, may, tiny, most_work)
    raise BadInput(
        "streams",
        None,
        "No amounts of zero or more fit the balances; check the directions of the streams.",
    )


def _held_at_zero(
    problem: Problem, held: Mask, may: Mask, tiny: float, most_work: float
) -> tuple[Vector, Mask]:
    """Solve with some streams at zero; tell which break a bound or want to leave it."""
    now = replace(
        problem,
        known=problem.known | held,
        measured=problem.measured & ~held,
        value=np.where(held, 0.0, problem.value),
    )
    balances = Balances(now, most_work, uncertain=False)
    x, said, potential = amounts(now, balances)
    net = problem.net
    # pull towards negative: gradient of the objective less that of the balances
    pull = potential[net.end] - potential[net.start]
    measured = held & problem.measured
    gradient = pull.copy()
    gradient[measured] -= (problem.value / problem.variance)[measured]
    scale = np.zeros(len(x))
    scale[measured] = 1e-9 * np.abs(problem.value / problem.variance)[measured]
    scale[held & ~measured] = 1e-9 * float(np.abs(potential).max(initial=0.0))
    wants_up = held & (gradient < -np.maximum(scale, 1e-300))
    return x, (may & ~held & said & (x < -tiny)) | wants_up
