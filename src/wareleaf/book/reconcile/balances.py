"""Weighted least squares over the balances, with what each measurement weighs in the answer.

Minimise the sum of ((x - y)/s)^2 over the measured streams so that every node balances (Kuehn and
Davidson 1961; Mah, Stanley and Downing 1976; from memory). With B the incidence of the streams that
are checked on the joined nodes, V their variances and r the imbalance of the measurements,

    x = y - V d,   d = B' (B V B')^-1 r,   statistic = r' (B V B')^-1 r,
    cov(d) = W = B' (B V B')^-1 B,   cov(x) = V - V W V.

B V B' is the Laplacian of a weighted graph, so W on the diagonal is what `Fronts` reads from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from wareleaf.book.reconcile.fronts import Fronts
from wareleaf.book.reconcile.network import (
    BORDER,
    Given,
    Network,
    given_by_balances,
    joined,
    sums,
)
from wareleaf.book.reconcile.solvers import MOST_WORK, solver_of
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

SIMULATED = 200
"""Simulated sets of errors where uncertainties cannot be had exactly (5 % of each, one sd)."""

_TOLERANCE = 1e-9


@dataclass(frozen=True)
class Problem:
    """Arrays of one reconciliation. ``value`` is the measured or the known amount, else 0."""

    net: Network
    measured: Mask
    known: Mask
    value: Vector
    variance: Vector
    names: Sequence[str]

    @property
    def unmeasured(self) -> Mask:
        """Neither measured nor known."""
        return ~(self.measured | self.known)

    @cached_property
    def given(self) -> Given:
        """What the balances give of the unmeasured streams."""
        return given_by_balances(self.net, self.unmeasured)


class Balances:
    """The balances that check something, ready to be solved.

    Parameters
    ----------
    problem : Problem
        The streams.
    most_work : float
        From how many multiplications on the system is solved by iteration.
    uncertain : bool
        Whether uncertainties will be asked for, which takes a factor of our own. Amounts alone are
        had several times sooner without.

    Raises
    ------
    BadInput
        When known amounts contradict each other.
    """

    def __init__(self, problem: Problem, most_work: float = MOST_WORK, *, uncertain: bool = True):
        self.problem = problem
        net = problem.net
        self.group = joined(net, problem.unmeasured)
        self.size = int(self.group.max()) + 1
        start, end = self.group[net.start], self.group[net.end]
        self.redundant: Mask = problem.measured & (start != end)
        self.which = np.flatnonzero(self.redundant)
        self.start, self.end = start[self.which], end[self.which]
        self.variance = problem.variance[self.which]
        self.row = self._rows(start, end)
        self.dof = int((self.row >= 0).sum())
        self.solver = solver_of(self._matrix(), most_work, uncertain) if self.dof else None

    def _rows(self, start: Index, end: Index) -> Index:
        """Row of each group in the system; -1 for the one left out of each connected part."""
        graph = sp.coo_array(
            (np.ones(len(self.which)), (self.start, self.end)), shape=(self.size, self.size)
        )
        parts, part = connected_components(graph, directed=False)
        _, first = np.unique(part, return_index=True)
        border = self.group[BORDER]
        first[part[border]] = border
        known = np.where(self.problem.known, self.problem.value, 0.0)
        came = sums(end, known, self.size) - sums(start, known, self.size)
        left = sums(part, came, parts)
        left[part[border]] = 0.0
        worst = int(np.argmax(np.abs(left)))
        if abs(left[worst]) > _TOLERANCE * max(float(np.abs(known).max(initial=0.0)), 1.0):
            self._contradiction(part == worst, float(left[worst]))
        self.known_in = came
        keep = np.ones(self.size, dtype=bool)
        keep[first] = False
        row = np.full(self.size, -1, dtype=np.int64)
        row[keep] = np.arange(int(keep.sum()))
        return row

    def _contradiction(self, inside: Mask, left: float) -> None:
        nodes = [
            self.problem.net.nodes[k - 1]
            for k in np.flatnonzero(inside[self.group]).tolist()
            if k != BORDER
        ]
        raise BadInput(
            "known",
            left,
            f"The known amounts contradict each other: around {', '.join(nodes[:5])} {left:g} "
            "more comes in than goes out, and nothing else can take it.",
        )

    def _matrix(self) -> sp.csc_array:
        a, b, v = self.row[self.start], self.row[self.end], self.variance
        both = (a >= 0) & (b >= 0)
        here, there = a >= 0, b >= 0
        rows = np.concatenate([a[here], b[there], a[both], b[both]])
        columns = np.concatenate([a[here], b[there], b[both], a[both]])
        values = np.concatenate([v[here], v[there], -v[both], -v[both]])
        return sp.csc_array(sp.coo_array((values, (rows, columns)), shape=(self.dof, self.dof)))

    def spread(self, potential: Vector) -> Vector:
        """B' p: from the system's rows to the redundant streams."""
        padded = np.concatenate([potential, np.zeros((1, *potential.shape[1:]))])
        return padded[self.row[self.end]] - padded[self.row[self.start]]

    def potentials(self, imbalance: Vector) -> Vector:
        """The system solved for an imbalance at the groups."""
        if self.solver is None:
            return np.zeros((0, *imbalance.shape[1:]))
        return self.solver.solve(imbalance[self.row >= 0])

    def imbalance(self, amount: Vector) -> Vector:
        """In less out at every group, of amounts of the redundant streams."""
        if amount.ndim == 1:
            return sums(self.end, amount, self.size) - sums(self.start, amount, self.size)
        return np.stack([self.imbalance(column) for column in amount.T], axis=1)

    def column(self, k: int) -> Vector:
        """Column of W of the k-th redundant stream."""
        unit = np.zeros(self.size)
        unit[self.end[k]] += 1.0
        unit[self.start[k]] -= 1.0
        return self.spread(self.potentials(unit))

    def weights(self) -> Vector | None:
        """Diagonal of W; None where it can only be simulated."""
        if self.solver is None:
            return np.zeros(len(self.which))
        if not isinstance(self.solver, Fronts):
            return None
        diagonal, pattern = self.solver.inverse_on_pattern()
        place = np.empty(self.dof, dtype=np.int64)
        place[self.solver.order] = np.arange(self.dof)
        a, b = self.row[self.start], self.row[self.end]
        own = np.append(diagonal, 0.0)
        found = own[a] + own[b]
        both = (a >= 0) & (b >= 0)
        if both.any():
            p, q = place[a[both]], place[b[both]]
            across = pattern[np.maximum(p, q), np.minimum(p, q)]
            found[both] -= 2.0 * np.asarray(across).ravel()
        return np.clip(found, 0.0, 1.0 / self.variance)

    def simulated(self, rng: np.random.Generator) -> tuple[Vector, Vector]:
        """Simulated errors of the redundant streams, and d for each of them, as columns."""
        error = rng.standard_normal((len(self.which), SIMULATED))
        error *= np.sqrt(self.variance)[:, None]
        parts = [error[:, k : k + 20] for k in range(0, SIMULATED, 20)]  # fits a cache
        pulls = [self.spread(self.potentials(self.imbalance(part))) for part in parts]
        return error, np.concatenate(pulls, axis=1)
