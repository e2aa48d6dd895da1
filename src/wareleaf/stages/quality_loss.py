"""What heat takes from leaf: first-order loss with an Arrhenius rate over a temperature trace.

    dC/dt = -k C,    k(T) = k_ref exp(-(E/R) (1/T - 1/T_ref)),

C per kg dry matter, T in kelvin. The share kept is exp(-k_ref F) with F the hours at the reference
that would do as much. F is integrated with temperature linear between the points of the trace by
Gauss-Legendre quadrature, in panels over which the exponent changes by 2 at most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.measure import require
from wareleaf.stages.common import Array, finite, log_sd
from wareleaf.stages.quality_heat import HeatTrace

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_PANEL = 2.0
_Z95 = 1.959964


@dataclass(frozen=True)
class Loss:
    """Constants of one loss.

    Parameters
    ----------
    what : str
        What is lost: vitamin_c, phenolics, theaflavin, chlorophyll, or the works' own name.
    rate_per_h : float
        First-order rate at ``reference_c``, 1/h.
    reference_c : float
        degC; best in the middle of the trials, where rate and activation energy part.
    activation_j_mol : float
        J/mol.
    rate_relative_sd, activation_sd_j_mol : float
        One standard deviation each, taken as independent.
    low_c, high_c : float
        Leaf temperatures the constants were found at.
    moisture_wb_low, moisture_wb_high : float
        Moistures they were found at.
    source : str
        Who found them, with the evidence mark.
    """

    what: str
    rate_per_h: float
    reference_c: float
    activation_j_mol: float
    rate_relative_sd: float = 0.0
    activation_sd_j_mol: float = 0.0
    low_c: float = -20.0
    high_c: float = 200.0
    moisture_wb_low: float = 0.0
    moisture_wb_high: float = 1.0
    source: str = "the works' own constants"

    def __post_init__(self) -> None:
        """Refuse constants that cannot be."""
        require(bool(self.what.strip()), "what", self.what, "what is empty; name what is lost.")
        finite("rate_per_h", self.rate_per_h, 0.0, 1e5, "1/h")
        finite("reference_c", self.reference_c, -20.0, 200.0, "degC")
        finite("activation_j_mol", self.activation_j_mol, 0.0, 500e3, "J/mol")
        finite("rate_relative_sd", self.rate_relative_sd, 0.0, 5.0)
        finite("activation_sd_j_mol", self.activation_sd_j_mol, 0.0, 500e3, "J/mol")
        for low, high, least, most in (
            ("low_c", "high_c", -20.0, 200.0),
            ("moisture_wb_low", "moisture_wb_high", 0.0, 1.0),
        ):
            finite(low, getattr(self, low), least, most)
            finite(high, getattr(self, high), getattr(self, low), most)

    def rate_at(self, leaf_c: float) -> float:
        """Rate at a leaf temperature, 1/h."""
        finite("leaf_c", leaf_c, -20.0, 200.0, "degC")
        part = 1.0 / (leaf_c + KELVIN) - 1.0 / (self.reference_c + KELVIN)
        return self.rate_per_h * math.exp(-self.activation_j_mol / GAS_CONSTANT_J_MOL_K * part)


@dataclass(frozen=True)
class Kept:
    """What is left of one thing.

    Parameters
    ----------
    what, name : str
        As in `Loss`, and for people.
    kept : float or None
        Share of what came in, mean over the cells, per kg dry matter; None without constants.
    low, high : float or None
        95 % band of it.
    least : float or None
        Share in the cell that lost most.
    hours_at_reference : float or None
        Hours at the reference temperature that would do as much, mean over the cells.
    note : str
        One sentence: what it rests on, or that nothing is published.
    """

    what: str
    name: str
    kept: float | None
    low: float | None
    high: float | None
    least: float | None
    hours_at_reference: float | None
    note: str


@dataclass(frozen=True)
class Exposure:
    """Hours at the reference by cell, and how they move with activation energy and temperature."""

    hours: Array
    per_j_mol: Array
    per_kelvin: Array


def exposure(trace: HeatTrace, activation_j_mol: float, reference_c: float) -> Exposure:
    """Hours at the reference temperature that do as much as the trace, for each cell.

    Parameters
    ----------
    trace : HeatTrace
        Leaf temperature.
    activation_j_mol, reference_c : float
        As in `Loss`.
    """
    finite("activation_j_mol", activation_j_mol, 0.0, 500e3, "J/mol")
    finite("reference_c", reference_c, -20.0, 200.0, "degC")
    ratio, reference = activation_j_mol / GAS_CONSTANT_J_MOL_K, reference_c + KELVIN
    kelvin = trace.leaf_c + KELVIN
    turn = float(np.max(np.abs(np.diff(ratio / kelvin, axis=1)), initial=0.0))
    panels = max(1, math.ceil(turn / _PANEL))
    edge = np.arange(panels)[:, None]
    place = ((edge + 0.5 * (_NODES + 1.0)) / panels).ravel()  # of a node between two points
    weight = np.tile(0.5 * _WEIGHTS / panels, panels)
    before, after = kelvin[:, :-1, None], kelvin[:, 1:, None]
    t = before + (after - before) * place
    part = 1.0 / t - 1.0 / reference
    rate = np.exp(-ratio * part)
    step = np.diff(trace.time_h)[:, None] * weight

    def total(values: Array) -> Array:
        return np.asarray((values * step).sum(axis=(1, 2)), dtype=float)

    return Exposure(
        hours=total(rate),
        per_j_mol=total(-rate * part) / GAS_CONSTANT_J_MOL_K,
        per_kelvin=total(rate * ratio / t**2),
    )


def kept(trace: HeatTrace, loss: Loss, leaf_c_sd: float = 0.0) -> Kept:
    """What is left after a trace, with its 95 % band.

    The band carries rate, activation energy and a common error of the leaf temperature to the
    logarithm of the loss, to first order; so it stays between nothing and all.

    Parameters
    ----------
    trace : HeatTrace
        Leaf temperature.
    loss : Loss
        Constants.
    leaf_c_sd : float
        Standard uncertainty of the leaf temperature, common to all points, K.
    """
    finite("leaf_c_sd", leaf_c_sd, 0.0, 20.0, "K")
    seen = exposure(trace, loss.activation_j_mol, loss.reference_c)
    sd = np.sqrt(
        log_sd(loss.rate_relative_sd) ** 2
        + (seen.per_j_mol / seen.hours * loss.activation_sd_j_mol) ** 2
        + (seen.per_kelvin / seen.hours * leaf_c_sd) ** 2
    )
    gone = loss.rate_per_h * seen.hours
    return Kept(
        what=loss.what,
        name=name_of(loss.what),
        kept=float(np.mean(np.exp(-gone))),
        low=float(np.mean(np.exp(-gone * np.exp(_Z95 * sd)))),
        high=float(np.mean(np.exp(-gone * np.exp(-_Z95 * sd)))),
        least=float(np.min(np.exp(-gone))),
        hours_at_reference=float(np.mean(seen.hours)),
        note=f"First-order loss; constants: {loss.source}.{_outside(trace, loss)}",
    )


NAMES = {
    "chlorophyll": "green colour (chlorophyll)",
    "vitamin_c": "vitamin C",
    "phenolics": "phenolics",
    "theaflavin": "theaflavins",
}


def name_of(what: str) -> str:
    """What is lost, for people."""
    return NAMES.get(what, what.replace("_", " "))


def _outside(trace: HeatTrace, loss: Loss) -> str:
    """How much of the time the leaf was where the constants were not found."""
    away = (trace.leaf_c < loss.low_c) | (trace.leaf_c > loss.high_c)
    if trace.moisture_wb is not None:
        wet = trace.moisture_wb
        away |= (wet < loss.moisture_wb_low) | (wet > loss.moisture_wb_high)
    step = np.diff(trace.time_h)
    both = 0.5 * (away[:, 1:].astype(float) + away[:, :-1])
    share = float((both * step).sum() / (step.sum() * away.shape[0]))
    if share < 0.005:
        return ""
    ranges = [f"{loss.low_c:g} to {loss.high_c:g} degC"]
    if (loss.moisture_wb_low, loss.moisture_wb_high) != (0.0, 1.0):
        ranges.append(f"{100 * loss.moisture_wb_low:g} to {100 * loss.moisture_wb_high:g} % wb")
    return (
        f" For {100 * share:.0f} % of the time the leaf was outside what they were found at "
        f"({', '.join(ranges)})."
    )
