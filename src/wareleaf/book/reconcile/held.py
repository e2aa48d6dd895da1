"""Hold some streams at zero without solving the balances anew.

The amounts without bounds are the mean of a normal distribution whose covariance C the balances
give. To hold the streams H at zero is to observe exactly that they are zero:

    x = x_free + C[:, H] m   with   C[H, H] m = -x_free[H].

m is what each stream pushes against its bound: the optimum keeps a stream held while m is not
negative. With F the streams H as sums of measured ones, V their variances and the rest as in
`balances`, C[H, H] = F V F' - G (B V B')^-1 G' with G = F V B'. One product with it is one solve
with the factor that is there already, and m is found by conjugate gradients. What a stream pushes
hardly reaches beyond its neighbours, so the balances of the neighbourhood alone tell well which
streams will be held; they are the preconditioner too, and a few steps do.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from wareleaf.book.reconcile.balances import Balances
from wareleaf.book.reconcile.solvers import Direct, neighbours

Vector = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

_MOST_STEPS = 100
_SLACK = 1e-9  # keeps the preconditioner regular where held streams depend on each other


class NotReached(Exception):
    """The iteration does not reach the accuracy asked for."""


class Held:
    """Streams that may be held, each measured or given by the balances; none is until `hold`.

    Parameters
    ----------
    balances : Balances
        Of the problem without bounds.
    may : array
        Which streams; all vectors here are over these, in order.
    """

    def __init__(self, balances: Balances, may: Mask):
        self.balances = balances
        self.which = np.flatnonzero(may)
        problem, net = balances.problem, balances.problem.net
        nodes, below = self._below()
        number = np.full(net.size, -1, dtype=np.int64)
        number[nodes] = np.arange(len(nodes))
        touched = number >= 0
        self.near = np.flatnonzero(problem.measured & (may | touched[net.start] | touched[net.end]))
        start, end = net.start[self.near], net.end[self.near]
        measured = np.flatnonzero(problem.measured[self.which])
        itself = np.searchsorted(self.near, self.which[measured])
        unit = _sparse(itself, measured, np.ones(len(measured)), len(self.near), len(self.which))
        factor = _incidence(number[start], number[end], len(nodes)).T @ below + unit
        self.spread = sp.csr_array(sp.diags_array(problem.variance[self.near]) @ factor)
        self.own = sp.csr_array(factor.T @ self.spread)
        row = balances.row[balances.group]
        self.lack = _incidence(row[start], row[end], balances.dof) @ self.spread
        self.taken = sp.csr_array(self.lack.T)
        self.most = self.own.diagonal()
        if not np.all(self.most > 0.0):
            raise NotReached  # a stream is held that no measurement can move
        region = neighbours(balances.system, np.unique(self.taken.indices))
        self._around = balances.system[:, region][region]
        self._border = sp.csc_array(self.taken[:, region].T)
        self._upper = sp.triu(self.own, format="csc")
        self._upper.setdiag(self.most * (1.0 + _SLACK))
        self.active: Mask = np.zeros(len(self.which), dtype=bool)

    def _below(self) -> tuple[Index, sp.csr_array]:
        """How the inflow of a node counts in each held stream that is given.

        One counts the nodes of its tree below it, found by jumps that double.

        Returns
        -------
        tuple
            Nodes that count, and a matrix of these by held streams.
        """
        balances, size = self.balances, len(self.which)
        problem, group = balances.problem, balances.group
        tree = np.zeros(balances.size, dtype=bool)
        tree[group[problem.net.start[self.which[problem.unmeasured[self.which]]]]] = True
        nodes = np.flatnonzero(tree[group])
        if not len(nodes):
            return nodes, _sparse(nodes, nodes, np.zeros(0), 0, size)
        number = np.full(len(group), -1, dtype=np.int64)
        number[nodes] = np.arange(len(nodes))
        node, above, stream, sign = problem.given.links(number >= 0)
        place = np.minimum(np.searchsorted(self.which, stream), size - 1)
        hit = self.which[place] == stream
        node, above = number[node], number[above]
        below = _sparse(node[hit], place[hit], sign[hit], len(nodes), size)
        jump = _sparse(node, above, np.ones(len(node)), len(nodes), len(nodes))
        while jump.nnz:
            below = below + jump @ below
            jump = jump @ jump
        some = np.flatnonzero(np.diff(below.indptr))
        return nodes[some], below[some]

    def hold(self, active: Mask) -> None:
        """Hold these and let the others go."""
        self.active = active
        own = self._upper[:, active][active]
        border = self._border[:, active]
        bordered = sp.block_array([[self._around, border], [None, own]], format="csc")
        try:
            self._nearby = Direct(bordered)
        except RuntimeError as error:  # rounding has made it singular
            raise NotReached from error

    def nearby(self, goal: Vector) -> tuple[Vector, Vector]:
        """Solve by the balances of the neighbourhood alone.

        Returns
        -------
        tuple
            The push, and what it moves each stream by.
        """
        size = self._around.shape[0]
        found = self._nearby.solve(np.concatenate([np.zeros(size), goal[self.active]]))
        push = np.zeros(len(self.which))
        push[self.active] = found[size:]
        return push, self.own @ push + self._border.T @ found[:size]

    def _solve(self, push: Vector) -> Vector:
        solver = self.balances.solver
        return solver.solve(self.lack @ push) if solver else np.zeros(0)

    def times(self, push: Vector) -> Vector:
        """C[H, H] times a vector."""
        return np.asarray(self.own @ push - self.taken @ self._solve(push))

    def change(self, push: Vector) -> Vector:
        """C[:, H] times a vector."""
        balances = self.balances
        out = np.zeros(len(balances.problem.value))
        out[self.near] = self.spread @ push
        out[balances.which] -= balances.variance * balances.spread(self._solve(push))
        balances.problem.fill_in(out)
        return out

    def push(self, goal: Vector, first: Vector, near_enough: Vector) -> Vector:
        """Solve C[H, H] m = goal for those held, by conjugate gradients.

        Parameters
        ----------
        goal : array
            Right side.
        first : array
            Where to begin.
        near_enough : array
            Largest error of C[H, H] m.

        Raises
        ------
        NotReached
            When it cannot be had.
        """
        m = np.where(self.active, first, 0.0)
        for _ in range(3):  # begin again where rounding has led astray
            left = np.where(self.active, goal - self.times(m), 0.0)
            if np.all(np.abs(left) <= near_enough):
                return m
            m += self._steps(left, near_enough)
        raise NotReached

    def _steps(self, left: Vector, near_enough: Vector) -> Vector:
        m = np.zeros_like(left)
        z, _ = self.nearby(left)
        p, rz = z, float(left @ z)
        for _ in range(_MOST_STEPS):
            q = np.where(self.active, self.times(p), 0.0)
            curve = float(p @ q)
            if curve <= 0.0:
                break
            m += (rz / curve) * p
            left = left - (rz / curve) * q
            if np.all(np.abs(left) <= near_enough):
                break
            z, _ = self.nearby(left)
            new = float(left @ z)
            p = z + (new / rz) * p
            rz = new
        return m


def _sparse(row: Index, column: Index, value: Vector, rows: int, columns: int) -> sp.csr_array:
    return sp.csr_array((value, (row, column)), shape=(rows, columns))


def _incidence(start: Index, end: Index, size: int) -> sp.csr_array:
    """+1 where a stream ends and -1 where it starts; a place of -1 is left out."""
    place = np.concatenate([end, start])
    stream = np.tile(np.arange(len(start)), 2)
    sign = np.repeat([1.0, -1.0], len(start))
    inside = place >= 0
    return _sparse(place[inside], stream[inside], sign[inside], size, len(start))
