"""Reconcile: adjust what was measured so that all balances hold, and say what does not fit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from wareleaf.book.reconcile.balances import SIMULATED, Balances, Problem
from wareleaf.book.reconcile.bounds import amounts, not_negative
from wareleaf.book.reconcile.flows import (
    KNOWN,
    NONREDUNDANT,
    OBSERVABLE,
    REDUNDANT,
    UNOBSERVABLE,
    Flow,
    Reconciliation,
    Settled,
    Suspect,
)
from wareleaf.book.reconcile.network import network_of
from wareleaf.book.reconcile.observable import Uncertainties, uncertainties
from wareleaf.book.reconcile.solvers import MOST_WORK
from wareleaf.book.reconcile.suspects import Search, chi_square
from wareleaf.measure.errors import BadInput, require

Vector = NDArray[np.float64]

LEVEL = 0.05
"""Level of the tests (common practice)."""


def reconcile(
    flows: Sequence[Flow],
    known: Mapping[str, float] | None = None,
    *,
    nonnegative: bool = True,
    level: float = LEVEL,
    most_suspects: int = 10,
    most_work: float = MOST_WORK,
) -> Reconciliation:
    """Adjust measured amounts by weighted least squares so that every node balances.

    Parameters
    ----------
    flows : sequence of Flow
        All streams; one unit for all amounts. Nodes keep nothing: a stock change is a stream.
    known : mapping
        Exact amounts by stream name.
    nonnegative : bool
        Keep amounts at zero or more.
    level : float
        Level of the tests, 0 to 1; for single tests it is divided over the streams.
    most_suspects : int
        How many measurements may be left out.
    most_work : float
        From how many multiplications on the system is solved by iteration.

    Returns
    -------
    Reconciliation
        With classes, tests and suspects.

    Raises
    ------
    BadInput
        For streams that cannot be used, or known amounts that contradict each other.
    """
    problem = problem_of(flows, known or {}, nonnegative)
    balances = Balances(problem, most_work)
    x, said, _ = amounts(problem, balances)
    unsure = uncertainties(problem, balances)
    pull = (problem.value[balances.which] - x[balances.which]) / balances.variance
    statistic = float(np.sum(balances.variance * pull**2))
    test = chi_square(statistic, balances.dof)
    search = Search(balances, pull, unsure.weight)
    z = search.z
    limit = _z_limit(level, len(balances.which))
    search.run(test, level, limit, most_suspects)
    held = np.zeros(len(x), dtype=bool)
    if nonnegative:
        x, held = not_negative(problem, x, said, balances, most_work)
    return Reconciliation(
        flows=_settled(problem, balances, x, said, unsure, z),
        global_test=test,
        suspects=_suspects(problem, balances, search, z, limit),
        z_limit=limit,
        without_suspects=_without(problem, balances, search),
        at_zero=tuple(problem.names[k] for k in np.flatnonzero(held).tolist()),
        simulated=SIMULATED if unsure.simulated else 0,
    )


def reconciled_amounts(problem: Problem, *, nonnegative: bool = True) -> Vector:
    """Reconciled amounts alone, without tests, suspects or uncertainties: far sooner.

    Parameters
    ----------
    problem : Problem
        The streams as arrays, as `problem_of` makes them.
    nonnegative : bool
        Keep amounts at zero or more.

    Returns
    -------
    array
        In the order of the streams; NaN where nobody can say.

    Raises
    ------
    BadInput
        For known amounts that contradict each other, or bounds that cannot be kept.
    """
    balances = Balances(problem, use="often" if nonnegative else "once")
    x, said, _ = amounts(problem, balances)
    if nonnegative:
        x, _ = not_negative(problem, x, said, balances, MOST_WORK)
    return np.where(said, x, np.nan)


def problem_of(flows: Sequence[Flow], known: Mapping[str, float], nonnegative: bool) -> Problem:
    """The streams as arrays; refuses what cannot be used."""
    names = [flow.name for flow in flows]
    require(bool(flows), "streams", [], "There are no streams; give at least one.")
    if len(set(names)) < len(names):
        twice = next(n for k, n in enumerate(names) if n in names[:k])
        raise BadInput("streams", twice, f"The name {twice} stands twice; names must differ.")
    strangers = [name for name in known if name not in set(names)]
    if strangers:
        raise BadInput(
            "known", strangers[0], f"known names {strangers[0]}, but there is no such stream."
        )
    for flow in flows:
        _check(flow)
    for name, amount in known.items():
        good = math.isfinite(amount) and (amount >= 0.0 or not nonnegative)
        require(good, "known", amount, f"{name} is known as {amount}; give 0 or more.")
    is_known = np.array([name in known for name in names])
    measured = np.array([f.measured is not None for f in flows]) & ~is_known
    value = np.array([float(known.get(f.name, f.measured or 0.0)) for f in flows])
    sd = np.array([f.standard_uncertainty or 0.0 for f in flows])
    variance = np.where(measured, sd**2, 1.0)
    return Problem(network_of(flows), measured, is_known, value, variance, names)


def _check(flow: Flow) -> None:
    if flow.measured is None:
        require(
            flow.standard_uncertainty is None,
            "standard_uncertainty",
            flow.standard_uncertainty,
            f"{flow.name} has an uncertainty but no measurement; give measured too.",
        )
        return
    require(
        math.isfinite(flow.measured),
        "measured",
        flow.measured,
        f"{flow.name} is measured as {flow.measured}; give a finite number.",
    )
    sd = flow.standard_uncertainty
    require(
        sd is not None and math.isfinite(sd) and sd > 0.0,
        "standard_uncertainty",
        sd,
        f"{flow.name} is measured with a standard uncertainty of {sd}; give one above 0, or list "
        "the stream under known.",
    )


def _z_limit(level: float, tests: int) -> float:
    """Limit of a single |z| so that all together err at the level (Sidak; from memory)."""
    each = 1.0 - (1.0 - level) ** (1.0 / max(tests, 1))
    return float(norm.isf(each / 2.0))


def _settled(
    problem: Problem,
    balances: Balances,
    x: Vector,
    said: NDArray[np.bool_],
    unsure: Uncertainties,
    z: Vector,
) -> tuple[Settled, ...]:
    kinds = np.where(
        problem.known,
        KNOWN,
        np.where(
            balances.redundant,
            REDUNDANT,
            np.where(problem.measured, NONREDUNDANT, np.where(said, OBSERVABLE, UNOBSERVABLE)),
        ),
    )
    tests = np.full(len(x), np.nan)
    tests[balances.which] = -z  # an adjustment pulls the other way than the error
    rows = zip(
        problem.names,
        kinds.tolist(),
        x.tolist(),
        (x - problem.value).tolist(),
        unsure.sd.tolist(),
        tests.tolist(),
        strict=True,
    )
    return tuple(
        Settled(
            name,
            kind,
            amount if kind != UNOBSERVABLE else None,
            change if kind in (REDUNDANT, NONREDUNDANT) else None,
            sd if kind != UNOBSERVABLE else None,
            test if kind == REDUNDANT else None,
        )
        for name, kind, amount, change, sd, test in rows
    )


def _suspects(
    problem: Problem, balances: Balances, search: Search, z: Vector, limit: float
) -> tuple[Suspect, ...]:
    names = [problem.names[k] for k in balances.which.tolist()]
    errors, sds = search.errors()
    found = [
        Suspect(
            name=names[k],
            rank=rank,
            z=search.z_when_picked[rank - 1],
            error=float(errors[rank - 1]),
            error_sd=float(sds[rank - 1]),
            left_out=True,
            test_after=search.tests[rank - 1],
            alike=tuple(names[i] for i in search.alike[rank - 1]),
        )
        for rank, k in enumerate(search.picked, 1)
    ]
    others = [k for k in np.argsort(-np.abs(z)).tolist() if abs(z[k]) > limit]
    last = search.tests[-1] if search.tests else chi_square(0.0, balances.dof)
    for k in [k for k in others if k not in search.picked][:20]:
        weight = search.first_weight[k]
        found.append(
            Suspect(
                name=names[k],
                rank=len(found) + 1,
                z=float(z[k]),
                error=float(search.first_pull[k] / weight),
                error_sd=float(1.0 / math.sqrt(weight)),
                left_out=False,
                test_after=last,
                alike=(),
            )
        )
    return tuple(found)


def _without(problem: Problem, balances: Balances, search: Search) -> dict[str, float]:
    """Amounts with the suspects left out."""
    if not search.picked:
        return {}
    x = problem.value.copy()
    x[balances.which] -= balances.variance * search.pull
    errors, _ = search.errors()
    x[balances.which[search.picked]] -= errors
    problem.fill_in(x)
    said = ~problem.unmeasured | problem.given.bridge
    return {problem.names[k]: float(x[k]) for k in np.flatnonzero(said).tolist()}
