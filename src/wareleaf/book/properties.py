"""What a lot contains, carried along splits, blends and stage runs, and back from results.

A property is a content per kg dry matter (iodine, cadmium, ash, residue, water...). At each event

    child = offset + factor * sum(share_i * parent_i) + step + part

with shares by dry matter, an error ``step`` that all children of the event have in common and an
error ``part`` of each child, whose mean over the children, weighted by dry matter, is zero: what
one part has more, its sisters have less, so a split creates and loses nothing. A lot without
parents has a mean and a standard deviation of its own. All errors are taken as normal and
independent. So every lot is a linear function of independent unit errors, ``x = mean + L z``, and
laboratory results ``y = H x + e`` are taken in by exact conditioning of the normal distribution,

    x | y:  mean + L H' S^-1 (y - H mean),  L L' - L H' S^-1 H L',  S = H L L' H' + R

(the normal equations of Gauss; JCGM 102:2011 has the propagation, the conditioning is textbook
algebra). L is sparse, and results that share no error fall into blocks that are solved on their
own. A result on a parent thus speaks for its descendants, one on a descendant for its parents and
cousins; the order of results does not matter, and no result makes a lot less well known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.sparse.csgraph import connected_components

from wareleaf.book.properties_given import Finding, Source, Step, check_given, in_order

__all__ = ["Belief", "Estimate", "Finding", "Network", "Source", "Step", "condition", "network"]

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A property of a lot.

    Parameters
    ----------
    lot_id : str
        The lot.
    mean, sd : float
        Best value and standard uncertainty, in the unit of the network.
    """

    lot_id: str
    mean: float
    sd: float


@dataclass(frozen=True)
class Network:
    """All lots as linear functions of independent unit errors; make it with `network`.

    Parameters
    ----------
    index : mapping
        Row of each lot.
    mean : array, shape (lots,)
        Before any result.
    spread : sparse array, shape (lots, errors)
        The matrix L: how far each unit error moves each lot.
    """

    index: Mapping[str, int]
    mean: Vector
    spread: sp.csr_array

    def row(self, lot_id: str) -> int:
        """Row of a lot.

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        check_given(lot_id in self.index, "lot_id", lot_id, "is not in this network of lots")
        return self.index[lot_id]


@dataclass(frozen=True)
class _Block:
    """Results that hang together: their rows of H L, and the triangular root of their S."""

    seen: sp.csr_array
    root: Vector


@dataclass(frozen=True)
class Belief:
    """What is known of all lots with the results so far; make it with `condition`.

    Parameters
    ----------
    net : Network
        The lots.
    mean, sd : array, shape (lots,)
        Best values and standard uncertainties.
    findings : tuple of Finding
        The results taken in.
    """

    net: Network
    mean: Vector
    sd: Vector
    findings: tuple[Finding, ...]
    blocks: tuple[_Block, ...]

    def of(self, lot_id: str) -> Estimate:
        """The property of one lot.

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        at = self.net.row(lot_id)
        return Estimate(lot_id, float(self.mean[at]), float(self.sd[at]))

    def covariance(self, lots: Sequence[str], others: Sequence[str]) -> Vector:
        """Covariance of lots with other lots, shape (len(lots), len(others)).

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        left = self.net.spread[[self.net.row(k) for k in lots]]
        right = self.net.spread[[self.net.row(k) for k in others]]
        found: Vector = (left @ right.T).toarray()
        for block in self.blocks:
            a = solve_triangular(block.root, (block.seen @ left.T).toarray(), lower=True)
            b = solve_triangular(block.root, (block.seen @ right.T).toarray(), lower=True)
            found = found - a.T @ b
        return found

    def mix(self, shares: Mapping[str, float]) -> tuple[float, float]:
        """Mean and standard uncertainty of a mix of lots, shares by dry matter.

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        lots = list(shares)
        part = np.array([shares[k] for k in lots])
        mean = float(part @ self.mean[[self.net.row(k) for k in lots]])
        variance = float(part @ self.covariance(lots, lots) @ part)
        return mean, math.sqrt(max(variance, 0.0))


def network(sources: Iterable[Source], steps: Iterable[Step]) -> Network:
    """Put lots and steps together.

    Parameters
    ----------
    sources : iterable of Source
        Lots that were made of nothing in the network.
    steps : iterable of Step
        In any order.

    Raises
    ------
    BadInput
        For a lot that is made twice, a parent that is not there, or a cycle.

    Notes
    -----
    The doubt of a factor enters as a step error with the second moment of the product of two
    independent numbers, ``factor_sd^2 * (mean^2 + sd^2)`` of what went in, as known before any
    result (Goodman 1960, from memory), so that the network stays linear.
    """
    index: dict[str, int] = {}
    means: list[float] = []
    rows: list[dict[int, float]] = []
    errors = 0

    def put(lot_id: str, mean: float, row: dict[int, float]) -> None:
        check_given(lot_id not in index, "lot_id", lot_id, "is made twice")
        index[lot_id] = len(means)
        means.append(mean)
        rows.append(row)

    given = list(sources)
    for source in given:
        put(source.lot_id, source.mean, {errors: source.sd} if source.sd else {})
        errors += 1
    for step in in_order([s.lot_id for s in given], list(steps)):
        mean, row = _mixed(step, index, means, rows)
        sd = math.hypot(
            step.noise_sd, step.factor_sd * math.hypot(mean, _norm(row)) if step.factor_sd else 0.0
        )
        common = {k: step.factor * v for k, v in row.items()} if step.factor else {}
        if sd:
            common[errors] = sd
            errors += 1
        whole = math.fsum(step.children.values())
        weight = [w / whole for w in step.children.values()]
        for i, child in enumerate(step.children):
            own = dict(common)
            if step.part_sd and len(weight) > 1:
                for k, w in enumerate(weight):
                    own[errors + k] = step.part_sd * ((k == i) - w)
            put(child, step.offset + step.factor * mean, own)
        errors += len(weight) if step.part_sd else 0
    return Network(index, np.array(means), _sparse(rows, errors))


def _mixed(
    step: Step, index: Mapping[str, int], means: list[float], rows: list[dict[int, float]]
) -> tuple[float, dict[int, float]]:
    """Mean and errors of what went into a step."""
    mean = 0.0
    row: dict[int, float] = {}
    for parent, share in step.parents.items():
        at = index[parent]
        mean += share * means[at]
        for k, v in rows[at].items():
            row[k] = row.get(k, 0.0) + share * v
    return mean, row


def _norm(row: Mapping[int, float]) -> float:
    return math.sqrt(math.fsum(v * v for v in row.values()))


def _sparse(rows: list[dict[int, float]], width: int) -> sp.csr_array:
    ends = np.cumsum([0, *(len(r) for r in rows)])
    columns = np.array([k for r in rows for k in r], dtype=np.int64)
    values = np.array([v for r in rows for v in r.values()], dtype=np.float64)
    return sp.csr_array((values, columns, ends), shape=(len(rows), max(width, 1)))


def condition(net: Network, findings: Iterable[Finding]) -> Belief:
    """Take in laboratory results.

    Parameters
    ----------
    net : Network
        The lots.
    findings : iterable of Finding
        In any order; several on one lot are taken as independent.

    Returns
    -------
    Belief
        Mean and standard uncertainty of every lot.

    Raises
    ------
    BadInput
        For a result on a lot that is not in the network.
    """
    taken = tuple(findings)
    mean = net.mean.copy()
    variance: Vector = np.asarray(net.spread.multiply(net.spread).sum(axis=1)).ravel()
    blocks: list[_Block] = []
    if taken:
        at = np.array([net.row(f.lot_id) for f in taken])
        noise = np.array([f.sd**2 for f in taken])
        off = np.array([f.value for f in taken]) - net.mean[at]
        seen = net.spread[at]
        joint = (seen @ seen.T).tocsr()
        count, label = connected_components(joint, directed=False)
        for one in range(count):
            mine = np.flatnonzero(label == one)
            own = seen[mine]
            factor = cho_factor(joint[mine][:, mine].toarray() + np.diag(noise[mine]), lower=True)
            root = np.tril(factor[0])
            blocks.append(_Block(own, root))
            mean += net.spread @ (own.T @ cho_solve(factor, off[mine]))
            variance -= _known(net.spread, own, root)
    sd = np.sqrt(np.maximum(variance, 0.0))
    return Belief(net, mean, sd, taken, tuple(blocks))


def _known(spread: sp.csr_array, own: sp.csr_array, root: Vector) -> Vector:
    """By how much a block of results lowers the variance of each lot."""
    joint = (spread @ own.T).tocsr()
    touched = np.flatnonzero(np.diff(joint.indptr))
    fall = np.zeros(spread.shape[0])
    if len(touched):
        told = solve_triangular(root, joint[touched].toarray().T, lower=True)
        fall[touched] = (told**2).sum(axis=0)
    return fall
