"""Solve a large sparse symmetric system and read the parts of its inverse that are asked for.

The systems are the weighted Laplacians of reconciliation. Elimination is done in small dense fronts
(multifrontal method, Duff and Reid 1983, from memory), so that the dense parts run in BLAS; the
entries of the inverse on the pattern of the matrix follow from the same fronts, top down
(Takahashi, Fagan and Chen 1973, from memory). Both are checked against dense solves in the tests.
General sparse solvers in SciPy give no entries of an inverse, and one solve a stream would take
minutes where this takes seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import spilu

Vector = NDArray[np.float64]
Index = NDArray[np.int64]

RELAX = 32
"""Subtrees of the elimination tree up to this many columns are one front."""


@dataclass
class Front:
    """Columns ``first`` to ``last`` and the rows below them that they touch."""

    first: int
    last: int
    rows: Index
    inverse: Vector
    times: Vector  # block below the pivot times its inverse

    @property
    def width(self) -> int:
        """Number of columns."""
        return self.last - self.first + 1


class Fronts:
    """A factorised symmetric positive definite matrix.

    Parameters
    ----------
    matrix : sparse matrix
        Symmetric positive definite, both triangles.
    """

    def __init__(self, matrix: sp.csc_array):
        self.size = int(matrix.shape[0])
        order = _fill_reducing(matrix)
        upper = sp.triu(matrix[order][:, order], 1, format="csc")
        parent = _elimination_tree(upper)
        post, sizes = _postorder(parent)
        self.order = order[post]
        self.lower = sp.csc_array(sp.tril(matrix[self.order][:, self.order], format="csc"))
        self.lower.sort_indices()
        self.fronts = _symbolic(self.lower, sizes)
        self._front_of: Index = np.empty(self.size, dtype=np.int64)
        for f in self.fronts:
            self._front_of[f.first : f.last + 1] = f.first

    @property
    def work(self) -> float:
        """Multiplications that factorising takes, roughly."""
        return float(sum(f.width * (f.width + len(f.rows)) ** 2 for f in self.fronts))

    def factorise(self) -> None:
        """Do the numbers; `solve` and `inverse_on_pattern` need it."""
        where = np.zeros(self.size, dtype=np.int64)
        waiting: dict[int, list[tuple[Index, Vector]]] = {}
        for f in self.fronts:
            w = f.width
            where[f.first : f.last + 1] = np.arange(w)
            where[f.rows] = np.arange(w, w + len(f.rows))
            block = np.zeros((w + len(f.rows), w + len(f.rows)))
            self._load(f, where, block)
            for rows, update in waiting.pop(f.first, ()):
                place = where[rows]
                block[place[:, None], place] += update
            pivot = block[:w, :w]
            pivot = np.tril(pivot) + np.tril(pivot, -1).T
            f.inverse = np.asarray(np.linalg.inv(pivot), dtype=np.float64)
            below = block[w:, :w]
            f.times = below @ f.inverse
            if len(f.rows):
                rest = block[w:, w:] - f.times @ below.T
                waiting.setdefault(int(self._front_of[f.rows[0]]), []).append((f.rows, rest))

    def _load(self, f: Front, where: Index, block: Vector) -> None:
        start, stop = self.lower.indptr[f.first], self.lower.indptr[f.last + 1]
        columns = np.repeat(np.arange(f.width), np.diff(self.lower.indptr[f.first : f.last + 2]))
        block[where[self.lower.indices[start:stop]], columns] = self.lower.data[start:stop]

    def solve(self, right: Vector) -> Vector:
        """Solve for one right side or for several as columns."""
        x = right[self.order].astype(float)
        for f in self.fronts:
            x[f.rows] -= f.times @ x[f.first : f.last + 1]
        for f in reversed(self.fronts):
            own = slice(f.first, f.last + 1)
            x[own] = f.inverse @ x[own] - f.times.T @ x[f.rows]
        out = np.empty_like(x)
        out[self.order] = x
        return out

    def inverse_on_pattern(self) -> tuple[Vector, sp.csc_array]:
        """Diagonal of the inverse, and its entries where the matrix has one.

        Returns
        -------
        tuple
            The diagonal, and a matrix with the pattern of the lower triangle in the order of
            ``self.order``.
        """
        values = np.empty_like(self.lower.data)
        diagonal = np.empty(self.size)
        where = np.zeros(self.size, dtype=np.int64)
        open_blocks: dict[int, tuple[Index, Vector, int]] = {}
        children: dict[int, int] = {}
        for f in self.fronts:
            if len(f.rows):
                above = int(self._front_of[f.rows[0]])
                children[above] = children.get(above, 0) + 1
        for f in reversed(self.fronts):
            w = f.width
            block = np.empty((w + len(f.rows),) * 2)
            if len(f.rows):
                above = int(self._front_of[f.rows[0]])
                rows, upper_block, left = open_blocks[above]
                place = np.searchsorted(rows, f.rows)
                block[w:, w:] = upper_block[place[:, None], place]
                open_blocks[above] = (rows, upper_block, left - 1)
                if left == 1:
                    del open_blocks[above]
            block[w:, :w] = -block[w:, w:] @ f.times
            block[:w, w:] = block[w:, :w].T
            block[:w, :w] = f.inverse - f.times.T @ block[w:, :w]
            own = np.arange(f.first, f.last + 1)
            diagonal[own] = np.diagonal(block)[:w]
            where[own] = np.arange(w)
            where[f.rows] = np.arange(w, w + len(f.rows))
            start, stop = self.lower.indptr[f.first], self.lower.indptr[f.last + 1]
            columns = np.repeat(np.arange(w), np.diff(self.lower.indptr[f.first : f.last + 2]))
            values[start:stop] = block[where[self.lower.indices[start:stop]], columns]
            if children.get(f.first):
                open_blocks[f.first] = (np.concatenate([own, f.rows]), block, children[f.first])
        out = np.empty(self.size)
        out[self.order] = diagonal
        pattern = sp.csc_array(
            (values, self.lower.indices, self.lower.indptr), shape=self.lower.shape
        )
        return out, pattern


def _fill_reducing(matrix: sp.csc_array) -> Index:
    """A minimum-degree order; SuperLU makes it on the way to an empty incomplete factor."""
    if matrix.shape[0] < 3:
        return np.arange(matrix.shape[0])
    shell = sp.csc_array(
        (np.full(matrix.nnz, 1e-9), matrix.indices, matrix.indptr), shape=matrix.shape
    )
    shell.setdiag(1.0)
    found = spilu(shell, drop_tol=0.5, fill_factor=1.0, permc_spec="MMD_AT_PLUS_A")
    return np.argsort(found.perm_c).astype(np.int64)


def _elimination_tree(upper: sp.csc_array) -> list[int]:
    """Parent of each column (Liu 1990, with path compression; from memory)."""
    n = upper.shape[0]
    parent, ancestor = [-1] * n, [-1] * n
    starts, rows = upper.indptr.tolist(), upper.indices.tolist()
    for j in range(n):
        for k in range(starts[j], starts[j + 1]):
            i = rows[k]
            while i != -1 and i < j:
                above = ancestor[i]
                ancestor[i] = j
                if above == -1:
                    parent[i] = j
                i = above
    return parent


def _postorder(parent: list[int]) -> tuple[Index, list[int]]:
    """An order in which every subtree is a stretch, and the size of each subtree in it."""
    n = len(parent)
    size = [1] * n
    for j in range(n):
        if parent[j] >= 0:
            size[parent[j]] += size[j]
    free = [0] * n  # where the next child's stretch ends, counted down
    last, place = n, [0] * n
    for j in range(n - 1, -1, -1):
        up = parent[j]
        if up < 0:
            end, last = last, last - size[j]
        else:
            end, free[up] = free[up], free[up] - size[j]
        place[j] = end - 1
        free[j] = end - 1
    post = np.empty(n, dtype=np.int64)
    post[place] = np.arange(n)
    return post, [size[j] for j in post.tolist()]


def _symbolic(lower: sp.csc_array, sizes: list[int]) -> list[Front]:
    """Fronts with the rows they touch, bottom up."""
    n = lower.shape[0]
    starts: list[int] = []
    j = n - 1
    while j >= 0:
        first = j - sizes[j] + 1 if sizes[j] <= RELAX else j
        starts.append(first)
        j = first - 1
    starts.reverse()
    waiting: dict[int, list[Index]] = {}
    fronts: list[Front] = []
    head = np.empty(n, dtype=np.int64)  # column -> first column of its starting stretch
    bounds = [*starts, n]
    for first, stop in pairwise(bounds):
        head[first:stop] = first
    empty = np.empty((0, 0))
    for first, stop in pairwise(bounds):
        parts = [lower.indices[lower.indptr[first] : lower.indptr[stop]].astype(np.int64)]
        parts += waiting.pop(first, [])
        rows = np.unique(np.concatenate(parts))
        rows = rows[rows >= stop]
        if len(rows):
            waiting.setdefault(int(head[rows[0]]), []).append(rows)
        front = Front(first, stop - 1, rows, empty, empty)
        before = fronts[-1] if fronts else None
        if before is not None and _worth_joining(before, front):
            fronts[-1] = Front(before.first, stop - 1, rows, empty, empty)
        else:
            fronts.append(front)
    return fronts


def _worth_joining(child: Front, front: Front) -> bool:
    """Whether two stretches make one front with few zeros: the child hangs on this one alone."""
    if not len(child.rows) or child.rows[0] > front.last:
        return False
    extra = front.width + len(front.rows) - len(child.rows)
    return extra * child.width <= 4 * (child.width + front.width) + 0.02 * len(front.rows) ** 2
