"""Weighted least squares over the balances, with what each measurement weighs in the answer.

Minimise the sum of ((x - y)/s)^2 over the measured streams so that every node balances (Kuehn and
Davidson 1961; Mah, Stanley and Downing 1976; from memory). With B the incidence of the streams that
are checked on the joined nodes, V their variances and r the imbalance of the measurements,

    x = y - V d,   d = B' (B V B')^-1 r,   statistic = r' (B V B')^-1 r,
    cov(d) = W = B' (B V B')^-1 B,   cov(x) = V - V W V.

B V B' is the Laplacian of a weighted graph; `Fronts` gives W on the diagonal.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from wareleaf.book.reconcile.forest import Forest, forest_of
from wareleaf.book.reconcile.fronts import Fronts
from wareleaf.book.reconcile.network import (
    BORDER,
    Network,
    sums,
)
from wareleaf.book.reconcile.solvers import MOST_WORK, Iterated, Use, solver_of
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
    def given(self) -> Forest:
        """What the balances give of the unmeasured streams."""
        return forest_of(self.net, self.unmeasured)

    def fill_in(self, amount: Vector) -> None:
        """Write what the balances give into amounts of all streams, 0 for the unmeasured ones."""
        self.given.fill_in(self.net.inflow(amount), amount)


def _groups(given: Forest) -> Index:
    """Number of the group of each node that unmeasured streams join; 0 is the border's."""
    root = given.roots()
    own = root == np.arange(given.size)
    own[root[BORDER]] = False
    number = np.cumsum(own)
    number[root[BORDER]] = 0
    return number[root]


class Balances:
    """The balances that check something, ready to be solved.

    Parameters
    ----------
    problem : Problem
        The streams.
    most_work : float
        From how many multiplications on the system is solved by iteration.
    use : str
        ``once`` for amounts, ``often`` for amounts with bounds, ``uncertainties`` for these too.
        Amounts alone are had far sooner than uncertainties.

    Raises
    ------
    BadInput
        When known amounts contradict each other.
    """

    def __init__(self, problem: Problem, most_work: float = MOST_WORK, use: Use = "uncertainties"):
        self.problem = problem
        net = problem.net
        self.group = _groups(problem.given)
        self.size = int(self.group.max()) + 1
        start, end = self.group[net.start], self.group[net.end]
        self.redundant: Mask = problem.measured & (start != end)
        self.which = np.flatnonzero(self.redundant)
        self.start, self.end = start[self.which], end[self.which]
        self.variance = problem.variance[self.which]
        system, part = self._system()
        self.known_in = self._known_in(start, end, part)
        keep = np.ones(self.size, dtype=bool)
        keep[0] = False
        if part.any():  # in what does not reach the border one group stands for it
            keep[np.unique(part, return_index=True)[1]] = False
            system = sp.csc_array(system[keep[1:]][:, keep[1:]])
        self.row = np.where(keep, np.cumsum(keep) - 1, -1)
        self.system, self.most_work, self.use = system, most_work, use
        self.dof = system.shape[0]
        self.solver = solver_of(system, most_work, use) if self.dof else None

    def for_bounds(self) -> Balances | None:
        """The same with what solves for amounts often; None where that is iterated."""
        if isinstance(self.solver, Iterated):
            return None
        if self.use == "often":
            return self
        other = copy(self)
        other.use = "often"
        other.solver = solver_of(self.system, self.most_work, "often") if self.dof else None
        return other

    def _system(self) -> tuple[sp.csc_array, Index]:
        """Upper triangle of the system without the border, and the connected part of each group."""
        n = self.size - 1
        a, b, v = self.start - 1, self.end - 1, self.variance
        low, high = np.minimum(a, b), np.maximum(a, b)
        inside = low >= 0
        every = np.arange(n)
        total = (sums(self.start, v, self.size) + sums(self.end, v, self.size))[1:]
        rows = np.concatenate([low[inside], every])
        columns = np.concatenate([high[inside], every])
        values = np.concatenate([-v[inside], total])
        places = (rows.astype(np.int32), columns.astype(np.int32))
        upper = sp.csc_array(sp.coo_array((values, places), shape=(n, n)))
        if n == 0:
            return upper, np.zeros(1, dtype=np.int64)
        parts, part = connected_components(upper, directed=False)
        reach = np.zeros(parts, dtype=bool)
        reach[part[high[~inside]]] = True
        part = np.where(reach[part], 0, part + 1)
        return upper, np.concatenate([[0], part])

    def _known_in(self, start: Index, end: Index, part: Index) -> Vector:
        """What known streams bring to every group; refuses what no other stream can take."""
        if not self.problem.known.any():
            return np.zeros(self.size)
        known = np.where(self.problem.known, self.problem.value, 0.0)
        came = sums(end, known, self.size) - sums(start, known, self.size)
        left = sums(part, came, self.size)
        left[0] = 0.0  # the border takes everything
        worst = int(np.argmax(np.abs(left)))
        if abs(left[worst]) > _TOLERANCE * max(float(np.abs(known).max(initial=0.0)), 1.0):
            self._contradiction(part == worst, float(left[worst]))
        return came

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

    def spread(self, potential: Vector) -> Vector:
        """B' p: from the system's rows to the redundant streams."""
        at = self.at_groups(potential)
        return at[self.end] - at[self.start]

    def at_groups(self, potential: Vector) -> Vector:
        """From the system's rows to the groups."""
        return np.concatenate([potential, np.zeros((1, *potential.shape[1:]))])[self.row]

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
