"""Solve the balances: by elimination of our own, by SciPy's, or step by step.

Our own elimination (`Fronts`) also gives uncertainties. SciPy's sparse LU (SuperLU) gives amounts
alone, several times sooner. Networks without narrow cuts fill up in both and are iterated.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from wareleaf.book.reconcile.fronts import Fronts
from wareleaf.measure.errors import BadInput

Vector = NDArray[np.float64]

MOST_WORK = 6e10
"""Beyond this many multiplications the system is solved by iteration (our choice)."""

MANY_RINGS = 15_000
"""Independent rings from which on a network may be without narrow cuts (our choice)."""


class Solver(Protocol):
    """What solves the system."""

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""


class Direct:
    """SciPy's sparse LU of a symmetric positive definite matrix; it needs no pivots."""

    def __init__(self, matrix: sp.csc_array):
        options = {"SymmetricMode": True, "Equil": False}
        self._factor = splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, panel_size=1, options=options
        )

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""
        return np.asarray(self._factor.solve(right), dtype=np.float64)


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


_SMALL = 200
"""Below this size either way is instant, and dense blocks round a little less (our choice)."""


def solver_of(matrix: sp.csc_array, most_work: float, uncertain: bool) -> Solver:
    """The solver that fits a system; `Fronts` only where uncertainties will be asked for.

    With ``most_work`` 0 it is iterated in any case.
    """
    if most_work <= 0.0:
        return Iterated(matrix)
    if not _has_no_narrow_cut(matrix):
        if not uncertain and matrix.shape[0] >= _SMALL:
            return Direct(matrix)
        fronts = Fronts(matrix)
        if fronts.work <= most_work:
            fronts.factorise()
            return fronts
    return Iterated(matrix)


def _has_no_narrow_cut(matrix: sp.csc_array) -> bool:
    """Whether elimination would surely fill up: many rings, and everything near everything.

    Looked at before elimination is planned, for planning it would take longer than iterating.
    """
    size = matrix.shape[0]
    if (matrix.nnz - size) // 2 - size < MANY_RINGS:
        return False
    degree = np.diff(matrix.indptr)
    plain = degree <= 20 * degree.mean()  # without hubs such as one large bin
    graph = sp.csr_array(matrix[plain][:, plain])
    graph.data = np.ones_like(graph.data)
    reached = np.zeros(graph.shape[0])
    reached[int(np.argmax(np.diff(graph.indptr)))] = 1.0
    for _ in range(int(1.5 * np.log2(size))):
        reached = np.minimum(graph @ reached, 1.0)
    return bool(reached.mean() > 0.99)
