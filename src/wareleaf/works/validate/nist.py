"""The certified nonlinear regression sets of NIST, read from their own files."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wareleaf.leaf.fit import Fit, fit_curve

Array = NDArray[np.float64]
SOURCE = (
    "NIST/ITL Statistical Reference Datasets, nonlinear regression, "
    "https://www.itl.nist.gov/div898/strd/ (public domain; files read)"
)
_FOLDER = "data/nist_strd"
_ROW = re.compile(r"\s*b\d+ =\s+(\S+)\s+(\S+)\s+(\S+)\s+(\S+)")
_FIRST_DATA_LINE = 60


def _cubic_over_cubic(b: Array, x: Array) -> Any:
    top = b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3
    return top / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def _rise(b: Array, x: Array) -> Any:
    return b[0] * (1.0 - np.exp(-b[1] * x))


def _gauss(b: Array, x: Array) -> Any:
    one = b[2] * np.exp(-((x - b[3]) ** 2) / b[4] ** 2)
    two = b[5] * np.exp(-((x - b[6]) ** 2) / b[7] ** 2)
    return b[0] * np.exp(-b[1] * x) + one + two


def _lanczos(b: Array, x: Array) -> Any:
    return sum(b[i] * np.exp(-b[i + 1] * x) for i in (0, 2, 4))


CURVES: dict[str, Callable[[Array, Array], Any]] = {
    "Misra1a": _rise,
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "Gauss1": _gauss,
    "Lanczos1": _lanczos,
    "Hahn1": _cubic_over_cubic,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "Thurber": _cubic_over_cubic,
    "BoxBOD": _rise,
    "Rat43": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1.0 / b[2]),
}


@dataclass(frozen=True)
class CertifiedSet:
    """One set: readings, two starts, and certified values with their standard deviations."""

    name: str
    x: Array
    y: Array
    starts: tuple[Array, Array]
    certified: Array
    certified_sd: Array
    certified_rss: float

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(f"b{i + 1}" for i in range(self.certified.size))


@cache
def certified_set(name: str) -> CertifiedSet:
    """Read one set by its name."""
    folder = resources.files("wareleaf.works.validate").joinpath(_FOLDER)
    lines = folder.joinpath(f"{name}.txt").read_text("utf-8").splitlines()
    found = [m for m in map(_ROW.match, lines) if m]
    rows = np.array([[float(v) for v in m.groups()] for m in found])
    rss = next(line for line in lines if line.startswith("Residual Sum of Squares"))
    data = np.array([[float(v) for v in ln.split()] for ln in lines[_FIRST_DATA_LINE:] if ln])
    return CertifiedSet(
        name=name,
        x=data[:, 1],
        y=data[:, 0],
        starts=(rows[:, 0], rows[:, 1]),
        certified=rows[:, 2],
        certified_sd=rows[:, 3],
        certified_rss=float(rss.split(":")[1]),
    )


def fitted(data: CertifiedSet, starts: list[list[float]]) -> Fit:
    """The set through the engine that fits leaf."""
    curve = CURVES[data.name]
    return fit_curve(data.name, lambda b: curve(b, data.x), data.y, data.names, starts)


def digits(found: Array, certified: Array) -> float:
    """Certified digits that agree, -log10 of the largest relative error (NIST's own measure)."""
    error = float(np.max(np.abs(found / certified - 1.0)))
    return float(-np.log10(max(error, 1e-16)))
