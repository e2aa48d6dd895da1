"""Keep amounts from falling below zero: an active-set method on top of the balances.

Streams that would be negative are held at zero, and let go when the optimum wants them above it
(block principal pivoting, Portugal, Judice and Vicente 1994, with single steps by lowest index when
blocks do not help; from memory). The result meets the optimality conditions of the bounded problem:
every stream and every push is looked at in the last round.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wareleaf.book.reconcile.balances import Balances, Problem
from wareleaf.book.reconcile.held import Held, NotReached
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]
Mask = NDArray[np.bool_]

_PATIENCE = 3
_MOST_ROUNDS = 200
_GUESSES = 10
"""Rounds of guessing which streams will be held; a guess that is not ready is put right after."""


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
    problem.fill_in(x)
    at_node = balances.at_groups(potential)[balances.group]
    return x, ~problem.unmeasured | problem.given.bridge, at_node


def not_negative(
    problem: Problem, free: Vector, said: Mask, balances: Balances | None, most_work: float
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
    balances : Balances
        Of the problem. With None, where they are iterated, and where one factor does not do, each
        round solves balances of its own.
    most_work : float
        From how many multiplications on a system is solved by iteration.

    Raises
    ------
    BadInput
        When no amounts of zero or more fit.
    """
    tiny = 1e-9 * max(float(np.abs(free[said]).max(initial=0.0)), 1e-12)
    may: Mask = ~problem.known
    below: Mask = may & said & (free < -tiny)
    if not below.any():
        return free, below
    direct = balances.for_bounds() if balances is not None else None
    if direct is not None:
        with suppress(NotReached):
            reusing = _Reusing(direct, free, may & said, tiny)
            found = _pivoted(reusing.guess(below), reusing.solve)
            if found is not None:
                return found
    found = _pivoted(below, lambda held: _held_at_zero(problem, held, may, tiny, most_work))
    if found is None:
        raise BadInput(
            "streams",
            None,
            "No amounts of zero or more fit the balances; check the directions of the streams.",
        )
    return found


def _pivoted(
    held: Mask, solve: Callable[[Mask], tuple[Vector, Mask]]
) -> tuple[Vector, Mask] | None:
    """Hold and let go until nothing is wrong; None when that does not come to an end."""
    fewest, patience = len(held) + 1, _PATIENCE
    for _ in range(_MOST_ROUNDS):
        x, wrong = solve(held)
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
            held = held.copy()
            held[one] = not held[one]
    return None


class _Reusing:
    """Solve with some streams at zero by the factor of the balances without bounds."""

    def __init__(self, balances: Balances, free: Vector, may: Mask, tiny: float):
        self.balances, self.free, self.may, self.tiny = balances, free, may, tiny

    def guess(self, below: Mask) -> Mask:
        """Which streams will be held, as far as their neighbourhoods tell."""
        held, candidates = below, below
        for _ in range(_GUESSES):
            self.some = Held(self.balances, candidates)
            self.push = self._settled(held[self.some.which])
            held = np.zeros(len(below), dtype=bool)
            held[self.some.which] = self.some.active
            x = self.free + self.some.change(self.push)
            more = self.may & (x < -self.tiny) & ~candidates
            if not more.any():
                break
            held, candidates = held | more, candidates | more
        return held

    def _settled(self, active: Mask) -> Vector:
        """Hold and let go of candidates until nothing is wrong nearby; their push."""
        some, free = self.some, self.free[self.some.which]
        for _ in range(_GUESSES):
            some.hold(active)
            push, moved = some.nearby(-free)
            wrong = np.where(active, push < 0.0, free + moved < -self.tiny)
            if not wrong.any():
                break
            active = active ^ wrong
        return push

    def solve(self, held: Mask) -> tuple[Vector, Mask]:
        """Amounts, and which streams break a bound or want to leave it."""
        first = np.zeros(len(held))
        first[self.some.which] = self.push
        known = np.zeros(len(held), dtype=bool)
        known[self.some.which] = True
        if np.any(held & ~known):
            self.some = Held(self.balances, held | known)
        some, which = self.some, self.some.which
        if np.any(held[which] != some.active):
            some.hold(held[which])
        sd = np.sqrt(some.most)
        error = np.clip(1e-8 * sd, 1e-6 * self.tiny, 1e-2 * self.tiny)
        self.push = some.push(-self.free[which], first[which], error)
        x = self.free + some.change(self.push)
        wrong = self.may & ~held & (x < -self.tiny)
        wrong[which] |= held[which] & (self.push < -10.0 * error / some.most)
        return x, wrong


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
    balances = Balances(now, most_work, "once")
    x, said, potential = amounts(now, balances)
    net = problem.net
    # pull towards negative: gradient of the objective less that of the balances
    pull = potential[net.end] - potential[net.start]
    measured = held & problem.measured
    gradient = pull.copy()
    gradient[measured] -= (problem.value / problem.variance)[measured]
    scale = np.zeros(len(x))
    scale[measured] = 1e-9 * np.abs(problem.value / problem.variance)[measured]
    size = np.maximum(np.abs(potential[net.start]), np.abs(potential[net.end]))
    scale[held & ~measured] = 1e-9 * size[held & ~measured]
    wants_up = held & (gradient < -np.maximum(scale, 1e-300))
    return x, (may & ~held & said & (x < -tiny)) | wants_up
