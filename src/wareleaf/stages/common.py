"""What every stage shares: readings in, aims and projections out, and how closure is measured.

A stage module has a frozen spec, a frozen run and three functions: ``simulate`` (what will come
out), ``aim`` (settings that reach a target) and ``project`` (from the readings so far, when will it
be there). Its result carries the fields of `StageResult`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure import BadInput, Figure, read_figures, read_sources, require

Array = NDArray[np.float64]

PACKAGE = "wareleaf.stages"
SECONDS_PER_HOUR = 3600.0
JOULES_PER_KWH = 3.6e6


@dataclass(frozen=True, kw_only=True)
class StageResult:
    """The fields that every stage's result has, so that pages and plans can read any stage.

    Masses in kg, fractions 0 to 1, energies in kWh as delivered to the machine. ``fuel_kg`` is 0
    where nothing is burned. The two residuals are relative closures of water and energy.
    """

    duration_h: float
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    water_residual: float
    energy_residual: float
    leaf_temperature_max_c: float
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


Values = TypeVar("Values", float, Array)
ResultT = TypeVar("ResultT", bound=StageResult)


@dataclass(frozen=True)
class StageReading:
    """One reading on a stage, in the stage's own time.

    Parameters
    ----------
    time_h : float
        Hours since the stage started.
    quantity : str
        Name with unit, for example ``moisture_wb``, ``mass_kg``, ``leaf_temperature_c``.
    value : float
        Fractions are 0 to 1.
    standard_uncertainty : float
        One standard deviation, same unit, above 0.
    """

    time_h: float
    quantity: str
    value: float
    standard_uncertainty: float

    def __post_init__(self) -> None:
        """Refuse what cannot be a reading."""
        finite("time_h", self.time_h, low=0.0, unit="h")
        finite(self.quantity, self.value)
        require(
            math.isfinite(self.standard_uncertainty) and self.standard_uncertainty > 0.0,
            "standard_uncertainty",
            self.standard_uncertainty,
            f"standard_uncertainty of {self.quantity} is {self.standard_uncertainty}; "
            "a reading needs an uncertainty above 0.",
        )


@dataclass(frozen=True)
class Aim(Generic[ResultT]):
    """Settings that reach a target, or why none do.

    Parameters
    ----------
    settings : dict of str to float
        What to set, names with units; the nearest settings when the target is out of reach.
    result : StageResult
        What those settings give.
    reachable : bool
        Whether they reach the target within the limits.
    reason : str
        One sentence for the operator: what limits, or what it takes.
    """

    settings: dict[str, float]
    result: ResultT
    reachable: bool
    reason: str


@dataclass(frozen=True)
class Projection:
    """When the stage will be there, from the readings so far.

    Parameters
    ----------
    finish_h, finish_sd_h : float
        Hours since start at which the mean reaches target, and one standard deviation; ``finish_h``
        is infinite when the target is not reached in the time looked at.
    moisture_wb_now, moisture_wb_now_sd : float
        Best estimate at the last reading.
    curve_time_h, curve_moisture_wb, curve_low, curve_high : tuple of float
        The projected curve and its 95 % band.
    note : str
        One sentence for the operator.
    """

    finish_h: float
    finish_sd_h: float
    moisture_wb_now: float
    moisture_wb_now_sd: float
    curve_time_h: tuple[float, ...]
    curve_moisture_wb: tuple[float, ...]
    curve_low: tuple[float, ...]
    curve_high: tuple[float, ...]
    note: str


def finite(
    field: str,
    value: float,
    low: float = -math.inf,
    high: float = math.inf,
    unit: str = "",
    *,
    above: bool = False,
) -> None:
    """Refuse a number that is not finite or outside its range.

    Parameters
    ----------
    field : str
        Name of the field, with its unit.
    value : float
        The number.
    low, high : float
        Accepted range, ends included.
    unit : str
        For the sentence.
    above : bool
        When true, ``low`` itself is refused.

    Raises
    ------
    BadInput
        With a sentence that names the field, the value and the range.
    """
    inside = math.isfinite(value) and (low < value if above else low <= value) and value <= high
    if inside:
        return
    tail = f" {unit}" if unit else ""
    least = "above" if above else "at least"
    if math.isfinite(low) and math.isfinite(high):
        accepted = f"{'above' if above else 'from'} {low:g} to {high:g}{tail}"
    elif math.isfinite(low):
        accepted = f"{least} {low:g}{tail}"
    elif math.isfinite(high):
        accepted = f"at most {high:g}{tail}"
    else:
        accepted = "a finite number"
    raise BadInput(field, value, f"{field} is {value:g}; it must be {accepted}.")


def relative_closure(gained: float, lost: float, scale: float) -> float:
    """Relative closure of a balance, ``|gained - lost| / scale``.

    Parameters
    ----------
    gained, lost : float
        What one side gained and the other side lost, from independent sums.
    scale : float
        The size of what is balanced (for example the water in the feed); closure is relative to
        the larger of it and the two sums.
    """
    size = max(abs(gained), abs(lost), abs(scale))
    return abs(gained - lost) / size if size > 0.0 else 0.0


def check_readings(
    readings: Sequence[StageReading], quantities: Iterable[str]
) -> tuple[StageReading, ...]:
    """Readings in time order and of a kind the stage can use.

    Raises
    ------
    BadInput
        A reading out of order, or of another quantity.
    """
    known = tuple(quantities)
    last = 0.0
    for number, reading in enumerate(readings, start=1):
        if reading.quantity not in known:
            raise BadInput(
                "readings",
                reading.quantity,
                f"Reading {number} is of {reading.quantity}; this stage reads {', '.join(known)}.",
            )
        if reading.time_h < last:
            raise BadInput(
                "readings",
                reading.time_h,
                f"Reading {number} is at {reading.time_h:g} h, before the one at {last:g} h; "
                "give readings in the order they were taken.",
            )
        last = reading.time_h
    return tuple(readings)


def sort_out(
    readings: Sequence[StageReading], reads: Iterable[str], kept: Mapping[str, str]
) -> tuple[tuple[StageReading, ...], str]:
    """Readings that move a projection, and what to say of those that are kept but do not.

    Parameters
    ----------
    readings : sequence of StageReading
        In time order.
    reads : iterable of str
        Quantities that move it.
    kept : mapping of str to str
        Quantities that do not, each with the sentence that says so.

    Raises
    ------
    BadInput
        A reading out of order, or of another quantity.
    """
    known = check_readings(readings, (*reads, *kept))
    said = dict.fromkeys(kept[r.quantity] for r in known if r.quantity in kept)
    return tuple(r for r in known if r.quantity not in kept), " ".join(said)


def weighed_kg(mass_kg: float, start_wb: Values, moisture_wb: Values) -> Values:
    """Mass of a load at a moisture: its dry matter stays, only water goes or comes."""
    return mass_kg * (1.0 - start_wb) / (1.0 - moisture_wb)


def steady_moisture(
    moisture_wb: float, moisture_wb_sd: float, readings: Iterable[StageReading]
) -> tuple[float, float]:
    """Moisture and its sd where a stage leaves it as it is: the prior and all readings, weighted.

    The weights are one over the variance (normal errors); a prior without spread stands.
    """
    if moisture_wb_sd <= 0.0:
        return moisture_wb, 0.0
    wet = [r for r in readings if r.quantity == "moisture_wb"]
    weights = [moisture_wb_sd**-2, *(r.standard_uncertainty**-2 for r in wet)]
    values = [moisture_wb, *(r.value for r in wet)]
    whole = sum(weights)
    return sum(w * v for w, v in zip(weights, values, strict=True)) / whole, whole**-0.5


def log_sd(relative_sd: float) -> float:
    """Standard deviation of ln(x) for a log-normal x of this relative standard deviation."""
    return math.sqrt(math.log1p(relative_sd * relative_sd))


def spread_wb(moisture_wb: Array, weights: Array) -> tuple[float, float]:
    """Weighted mean and standard deviation; the weights add to one."""
    mean = float(np.sum(weights * moisture_wb))
    return mean, math.sqrt(max(0.0, float(np.sum(weights * (moisture_wb - mean) ** 2))))


def stage_figures(name: str) -> dict[str, Figure]:
    """The figures of ``stages/data/NAME.csv`` by ``subject.quantity``."""
    return {f"{f.subject}.{f.quantity}": f for f in read_figures(PACKAGE, name)}


def cite(figures: Iterable[Figure]) -> tuple[str, ...]:
    """Citations of the figures that were used, each once, in order of first use."""
    sources = read_sources(PACKAGE)
    lines = (f"{sources[f.source].cite()} [{f.evidence}]" for f in figures)
    return tuple(dict.fromkeys(lines))
