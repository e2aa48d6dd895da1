"""Which measurement is wrong? Serial elimination, one measurement at a time.

While the global test fails or a single test stands out, the measurement whose omission lowers the
statistic most is left out; that is the one with the largest test z, and the fall is z squared
(Ripps 1965; Narasimhan and Mah 1987; from memory). Leaving one out changes d and W by a rank-one
step, so nothing is solved anew:
with the column w of W of the measurement left out, d' = d - w d_k/w_k and W' = W - w w'/w_k.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from wareleaf.book.reconcile.balances import Balances
from wareleaf.book.reconcile.flows import GlobalTest

Vector = NDArray[np.float64]

_ALIKE = 1e-9
_SAME = 1e-6
_EXHAUSTED = 1e-7


def chi_square(statistic: float, dof: int) -> GlobalTest:
    """The chi-square test of a statistic."""
    statistic = max(statistic, 0.0)
    p_value = float(chi2.sf(statistic, dof)) if dof > 0 else 1.0
    return GlobalTest(statistic, dof, p_value)


@dataclass
class Search:
    """Measurements left out so far, and what is left of d and W.

    Parameters
    ----------
    balances : Balances
        The balances.
    pull : array
        d of each redundant stream.
    weight : array
        Diagonal of W.
    """

    balances: Balances
    pull: Vector
    weight: Vector
    picked: list[int] = field(default_factory=list)
    z_when_picked: list[float] = field(default_factory=list)
    alike: list[list[int]] = field(default_factory=list)
    tests: list[GlobalTest] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.first_pull, self.first_weight = self.pull.copy(), self.weight.copy()
        self._columns: list[Vector] = []
        self._raw: list[Vector] = []

    @property
    def z(self) -> Vector:
        """Test of each redundant stream, with those picked left out."""
        usable = self.weight > _EXHAUSTED * self.first_weight
        return np.where(usable, self.pull / np.sqrt(np.where(usable, self.weight, 1.0)), 0.0)

    def run(self, start: GlobalTest, level: float, limit: float, most: int) -> None:
        """Leave out until all tests pass, or nothing more can be left out."""
        test = start
        while test.dof > 0 and len(self.picked) < most:
            size = np.abs(self.z)
            k = int(np.argmax(size >= (1.0 - _SAME) * size.max()))  # of equals the first given
            if size[k] == 0.0 or (test.p_value >= level and size[k] <= limit):
                return
            test = self._leave_out(k, test)

    def _leave_out(self, k: int, test: GlobalTest) -> GlobalTest:
        z = self.z
        column = self.balances.column(k)
        self._raw.append(column)
        column = column.copy()
        for before, w in zip(self.picked, self._columns, strict=True):
            column -= w * (w[k] / w[before])
        own = column[k]
        correlated = np.abs(column) >= (1.0 - _ALIKE) * np.sqrt(own * np.maximum(self.weight, 0.0))
        near = correlated & (np.abs(np.abs(z) - abs(z[k])) <= _SAME * abs(z[k])) & (z != 0.0)
        near[k] = False
        self.alike.append(np.flatnonzero(near).tolist())
        self.picked.append(k)
        self.z_when_picked.append(float(z[k]))
        self._columns.append(column)
        fall = self.pull[k] ** 2 / own
        self.pull = self.pull - column * (self.pull[k] / own)
        self.weight = np.maximum(self.weight - column**2 / own, 0.0)
        self.pull[self.picked] = 0.0
        self.weight[self.picked] = 0.0
        after = chi_square(test.statistic - fall, test.dof - 1)
        self.tests.append(after)
        return after

    def errors(self) -> tuple[Vector, Vector]:
        """What each picked measurement is off by, all estimated together, and its uncertainty."""
        if not self.picked:
            return np.zeros(0), np.zeros(0)
        square = np.array([w[self.picked] for w in self._raw])
        inverse = np.linalg.inv(square)
        return inverse @ self.first_pull[self.picked], np.sqrt(np.diagonal(inverse))
