"""What a lot contains, carried along splits, blends and stage runs, and back from results.

A property is a content per kg dry matter (iodine, cadmium, ash, residue, water...). At each step

    child = offset + factor * sum(share_i * parent_i) + step + part

with shares by dry matter, an error ``step`` that all children of the event have in common and an
error ``part`` of each child, whose mean over the children, weighted by dry matter, is zero: what
one part has more, its sisters have less, so a split creates and loses nothing. A lot without
parents has a mean and a standard deviation of its own. Errors may have a name and be shared by
many lots and steps. All errors are taken as normal and independent. So every lot is a linear
function of independent unit errors, ``x = mean + L z``, and laboratory results ``y = H x + e`` are
taken in by exact conditioning of the normal distribution,

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

from wareleaf.book.properties_given import Finding, Source, Step
from wareleaf.book.properties_network import Network, Vector, network

__all__ = ["Belief", "Estimate", "Finding", "Network", "Source", "Step", "condition", "network"]

_AT_ONCE = 2048  # lots; keeps the memory of a season's results small


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
class _Block:
    """Results that hang together: which, how far off, rows of H L, triangular root of S."""

    which: NDArray[np.int64]
    off: Vector
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

    def weights(self, lot_id: str) -> Vector:
        """How far the best value of a lot moves with each result, shape (results,).

        The best value is its mean before any result, plus these times how far each result lay
        from what was expected.

        Raises
        ------
        BadInput
            For a lot that is not in the network.
        """
        found = np.zeros(len(self.findings))
        own = self.net.spread[[self.net.row(lot_id)]]
        for block in self.blocks:
            joint = (block.seen @ own.T).toarray().ravel()
            found[block.which] = cho_solve((block.root, True), joint)
        return found

    def oddness(self) -> Vector:
        """How far each result lies from what all others lead to expect, shape (results,).

        In standard deviations of that difference (deletion residuals: Cook and Weisberg 1982, from
        memory); beyond 4 a result, its lot or the model should be looked at.
        """
        found = np.zeros(len(self.findings))
        for block in self.blocks:
            inverse = cho_solve((block.root, True), np.eye(len(block.which)))
            found[block.which] = (inverse @ block.off) / np.sqrt(np.diag(inverse))
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
            blocks.append(_Block(mine, off[mine], own, root))
            mean += net.spread @ (own.T @ cho_solve(factor, off[mine]))
            variance -= _known(net.spread, own, root)
    sd = np.sqrt(np.maximum(variance, 0.0))
    return Belief(net, mean, sd, taken, tuple(blocks))


def _known(spread: sp.csr_array, own: sp.csr_array, root: Vector) -> Vector:
    """By how much a block of results lowers the variance of each lot."""
    joint = (spread @ own.T).tocsr()
    touched = np.flatnonzero(np.diff(joint.indptr))
    fall = np.zeros(spread.shape[0])
    for start in range(0, len(touched), _AT_ONCE):
        some = touched[start : start + _AT_ONCE]
        told = solve_triangular(root, joint[some].toarray().T, lower=True)
        fall[some] = (told**2).sum(axis=0)
    return fall
