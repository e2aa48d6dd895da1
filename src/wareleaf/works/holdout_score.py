"""How forecasts did over many runs: bias, spread, and whether their 95 % band holds 95 %."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.stats import norm, t

STATED = 0.95
FEWEST = 5  # runs below which nothing is concluded (own choice)


class Compared(Protocol):
    """A number as forecast and as it came."""

    @property
    def error(self) -> float: ...
    @property
    def inside(self) -> bool | None: ...


@dataclass(frozen=True)
class Score:
    """Forecasts of one quantity against what came.

    Parameters
    ----------
    n : int
        Runs.
    bias, bias_low, bias_high : float
        Mean of measured less predicted and its 95 % interval (Student's t; the interval is None
        with one run).
    median : float
        Of measured less predicted: a single bad weighing does not move it.
    spread : float or None
        Standard deviation of measured less predicted; None with one run.
    rms : float
        Root mean square of measured less predicted.
    banded, inside : int
        Runs with a stated 95 % band, and those that fell in it.
    share, share_low, share_high : float or None
        Inside over banded and its 95 % Wilson interval.
    """

    n: int
    bias: float
    bias_low: float | None
    bias_high: float | None
    median: float
    spread: float | None
    rms: float
    banded: int
    inside: int
    share: float | None
    share_low: float | None
    share_high: float | None

    @property
    def biased(self) -> bool:
        """Whether chance alone does not explain the bias."""
        if self.n < FEWEST or self.bias_low is None or self.bias_high is None:
            return False
        return self.bias_low > 0.0 or self.bias_high < 0.0

    @property
    def band(self) -> str:
        """``holds``, ``too narrow``, ``too wide``, or ``unknown`` with too few runs."""
        if self.share_low is None or self.share_high is None or self.banded < FEWEST:
            return "unknown"
        if self.share_high < STATED:
            return "too narrow"
        return "too wide" if self.share_low > STATED else "holds"

    def sentences(self, name: str, what: str, side: str, per: float, unit: str) -> list[str]:
        """What it comes to, for people.

        Parameters
        ----------
        name, what : str
            Whose forecasts, and of what ("of moisture").
        side : str
            Where the forecast lies when it is biased ("too dry").
        per : float
            Factor to the unit of people.
        unit : str
            That unit.
        """
        runs = f"{self.n} run{'' if self.n == 1 else 's'}"
        if self.n < FEWEST or self.bias_low is None or self.bias_high is None:
            return [f"{name}: {runs} so far, too few to judge its forecasts {what}."]
        half = 0.5 * (self.bias_high - self.bias_low) * per
        size = abs(self.bias) * per
        if self.biased:
            said = [
                f"{name}: the forecasts {what} are {_short(size)} {unit} {side} "
                f"(± {_short(half)}, {runs})."
            ]
        else:
            said = [
                f"{name}: no bias shows in the forecasts {what} "
                f"({_short(self.bias * per, sign=True)} ± {_short(half)} {unit}, {runs})."
            ]
        if self.band in ("too narrow", "too wide"):
            assert self.share is not None
            assert self.share_low is not None
            assert self.share_high is not None
            said.append(
                f"{name}: the 95 % band {what} held {self.inside} of {self.banded} "
                f"({100 * self.share:.0f} %, likely {100 * self.share_low:.0f} to "
                f"{100 * self.share_high:.0f} %): it is {self.band}."
            )
        return said


def _short(value: float, *, sign: bool = False) -> str:
    """Two digits that matter, one decimal at least."""
    size = abs(value)
    digits = 0 if size >= 10.0 else 1 if size >= 1.0 or size == 0.0 else 2
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def wilson(inside: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a share from a count (Wilson score).

    NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1.
    """
    z = float(norm.ppf(0.5 + 0.5 * confidence))
    share = inside / of
    centre = share + z * z / (2.0 * of)
    half = z * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of))
    scale = 1.0 + z * z / of
    return max(0.0, (centre - half) / scale), min(1.0, (centre + half) / scale)


def score(pairs: Sequence[Compared]) -> Score:
    """Score at least one pair."""
    errors = np.array([p.error for p in pairs], dtype=float)
    n, bias = errors.size, float(errors.mean())
    spread = float(errors.std(ddof=1)) if n > 1 else None
    half = None if spread is None else float(t.ppf(0.975, n - 1)) * spread / math.sqrt(n)
    known = [p.inside for p in pairs if p.inside is not None]
    inside = sum(known)
    low, high = wilson(inside, len(known)) if known else (None, None)
    return Score(
        n=n,
        bias=bias,
        bias_low=None if half is None else bias - half,
        bias_high=None if half is None else bias + half,
        median=float(np.median(errors)),
        spread=spread,
        rms=float(np.sqrt(np.mean(errors**2))),
        banded=len(known),
        inside=inside,
        share=inside / len(known) if known else None,
        share_low=low,
        share_high=high,
    )
