"""Solve the balances: by elimination of our own, by a library's, or step by step.

Our own elimination (`Fronts`) also gives uncertainties. QDLDL gives amounts alone, far sooner: it
factorises in half the time of SciPy's sparse LU and solves in a third. For a single solve a thinned
system is factorised, in a fifth of that, and the rest is iterated. Networks without narrow cuts
fill up under elimination and are iterated throughout.
"""

from __future__ import annotations

from typing import Literal, Protocol

import numpy as np
import qdldl
import scipy.sparse as sp
from numpy.typing import NDArray

from wareleaf.book.reconcile.fronts import Fronts
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]
Index = NDArray[np.int64]

Use = Literal["once", "often", "uncertainties"]
"""What a system is solved for: amounts, amounts with bounds, or uncertainties as well."""

MOST_WORK = 6e10
"""Beyond this many multiplications the system is solved by iteration (our choice)."""

MANY_RINGS = 15_000
"""Independent rings from which on a network may be without narrow cuts (our choice)."""

_SMALL = 200
"""Below this size either way is instant, and dense blocks round a little less (our choice)."""

_SMALL_ENTRY = 0.1
"""Part of a diagonal below which an entry is left out of a thinned system (our choice)."""

_MOST_STEPS = 60
"""Steps with a thinned factor from which on the whole factor is sooner (our choice)."""


class Solver(Protocol):
    """What solves the system."""

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""


class Direct:
    """Sparse Cholesky (L D L', order by approximate minimum degree) by QDLDL."""

    def __init__(self, upper: sp.csc_array):
        self.size = int(upper.shape[0])
        self._factor = qdldl.Solver(sp.csc_matrix(upper), upper=True)

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""
        if right.ndim > 1:
            return np.stack([self.solve(column) for column in right.T], axis=1)
        return np.asarray(self._factor.solve(right), dtype=np.float64)


class Thinned:
    """Conjugate gradients with the factor of a thinned system as preconditioner; for one solve.

    An entry that is small beside its smaller diagonal is left out of the thinned system. What is
    left has few rings and is factorised in a fraction of the time, and some ten steps do. Where
    they do not, the whole is solved after all.
    """

    def __init__(self, upper: sp.csc_array, thin: sp.csc_array):
        self.upper = upper
        self.diagonal = upper.diagonal()
        self._near = Direct(thin)
        self.whole: Direct | Iterated | None = None

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""
        if right.ndim > 1:
            return np.stack([self.solve(column) for column in right.T], axis=1)
        if self.whole is None:
            found = self._steps(right)
            if found is not None:
                return found
            fills_up = _has_no_narrow_cut(self.upper)
            self.whole = Iterated(_whole(self.upper)) if fills_up else Direct(self.upper)
        return self.whole.solve(right)

    def _steps(self, right: Vector) -> Vector | None:
        """Solve until the errors of all streams together are 1e-8 of their uncertainties."""
        x = self._near.solve(right)
        left = right - self._times(x)
        p = z = self._near.solve(left)
        rz = float(left @ z)
        goal = max(1e-16, 1e-26 * float(right @ x))
        for _ in range(_MOST_STEPS):
            if rz <= goal:
                return x
            q = self._times(p)
            step = rz / float(p @ q)
            x += step * p
            left -= step * q
            z = self._near.solve(left)
            new = float(left @ z)
            p = z + (new / rz) * p
            rz = new
        return None

    def _times(self, p: Vector) -> Vector:
        return np.asarray(self.upper @ p + self.upper.T @ p - self.diagonal * p)


def thinned(upper: sp.csc_array) -> sp.csc_array:
    """Without the entries that are small beside the smaller of their diagonals."""
    column = np.repeat(np.arange(upper.shape[0]), np.diff(upper.indptr))
    size = upper.diagonal()
    keep = np.abs(upper.data) >= _SMALL_ENTRY * np.minimum(size[upper.indices], size[column])
    starts = np.concatenate([[0], np.cumsum(keep)])[upper.indptr].astype(np.int32)
    return sp.csc_array((upper.data[keep], upper.indices[keep], starts), shape=upper.shape)


class Iterated:
    """Conjugate gradients with the diagonal as preconditioner, several right sides at once.

    For networks without narrow cuts, where elimination fills up, it takes few steps.
    """

    def __init__(self, matrix: sp.csc_array):
        self.matrix = sp.csr_array(matrix)
        self.diagonal = matrix.diagonal()

    def solve(self, right: Vector) -> Vector:
        """Solve to a relative residual of 1e-12.

        Raises
        ------
        BadInput
            When 20,000 steps do not suffice.
        """
        b = right.reshape(len(right), -1)
        x = np.zeros_like(b)
        r = b.copy()
        m = self.diagonal[:, None]
        z = r / m
        p = z.copy()
        rz = np.einsum("ij,ij->j", r, z)
        goal = 1e-24 * np.einsum("ij,ij->j", b, b / m)
        for _ in range(20_000):
            open_ = rz > goal
            if not open_.any():
                return x.reshape(right.shape)
            q = self.matrix @ p
            step = np.where(open_, rz, 0.0) / np.where(open_, np.einsum("ij,ij->j", p, q), 1.0)
            x += step * p
            r -= step * q
            z = r / m
            new = np.einsum("ij,ij->j", r, z)
            p = z + np.where(open_, new / np.where(open_, rz, 1.0), 0.0) * p
            rz = np.where(open_, new, rz)
        raise BadInput(
            "streams",
            len(right),
            "The balances could not be solved: the stated uncertainties differ by too many powers "
            "of ten; leave out the streams nobody can know as unmeasured.",
        )


def solver_of(upper: sp.csc_array, most_work: float, use: Use) -> Solver:
    """The solver that fits a system and what it is for.

    Parameters
    ----------
    upper : sparse matrix
        Upper triangle with the diagonal.
    most_work : float
        From how many multiplications on it is iterated; with 0 in any case.
    use : str
        ``once`` for amounts, ``often`` for amounts with bounds, ``uncertainties`` for these too.
    """
    if most_work <= 0.0:
        return Iterated(_whole(upper))
    small = upper.shape[0] < _SMALL
    if use == "once" and not small:
        thin = thinned(upper)
        if not _has_no_narrow_cut(thin):
            return Thinned(upper, thin)
    elif not _has_no_narrow_cut(upper):
        if use == "often" and not small:
            return Direct(upper)
        fronts = Fronts(_whole(upper))
        if fronts.work <= most_work:
            fronts.factorise()
            return fronts
    return Iterated(_whole(upper))


def _whole(upper: sp.csc_array) -> sp.csc_array:
    return sp.csc_array(upper + sp.triu(upper, 1, format="csr").T)


def _has_no_narrow_cut(upper: sp.csc_array) -> bool:
    """Whether elimination would surely fill up: many rings, and everything near everything.

    Looked at before elimination is planned, for planning it would take longer than iterating.
    """
    size = upper.shape[0]
    if upper.nnz - 2 * size < MANY_RINGS:
        return False
    ways = (upper, sp.csr_array(upper))  # neighbours before and after
    degree = np.diff(ways[0].indptr) + np.diff(ways[1].indptr) - 2
    plain = degree <= 20 * (degree.mean() + 1.0)  # without hubs such as one large bin
    seen = ~plain
    front = np.array([int(np.argmax(np.where(plain, degree, 0)))])
    seen[front] = True
    for _ in range(int(1.5 * np.log2(size))):
        near = np.concatenate([_members(way, front) for way in ways])
        front = np.unique(near[~seen[near]])
        seen[front] = True
    return bool(seen[plain].mean() > 0.99)


def neighbours(upper: sp.csc_array, which: Index) -> Index:
    """Some rows and those they have entries with, in order."""
    found = np.zeros(upper.shape[0], dtype=bool)
    found[which] = True
    for way in (upper, sp.csr_array(upper)):
        found[_members(way, which)] = True
    return np.flatnonzero(found)


def _members(way: sp.csc_array | sp.csr_array, which: Index) -> Index:
    """Indices in some columns (or rows), one after the other."""
    start = way.indptr[which]
    count = way.indptr[which + 1] - start
    before = np.cumsum(count) - count
    return np.asarray(way.indices[np.arange(count.sum()) + np.repeat(start - before, count)])
