"""What temperature the leaf had, and when: the trace that every judgement of heat starts from.

A trace has one or more cells (layers of a bed, bottom and top of a trough, or one mean) over common
times; between two times the leaf temperature is a straight line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.measure import BadInput, moisture_wb_from_db, require
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_result import DryResult
from wareleaf.stages._dry_solve import solve
from wareleaf.stages._dry_spec import Dryer
from wareleaf.stages._dry_state import scenarios
from wareleaf.stages._wither_spec import WitherResult
from wareleaf.stages.common import Array, StageResult, finite
from wareleaf.stages.hold_spec import HoldResult
from wareleaf.stages.sun_dry_spec import SunResult

COLDEST_C, HOTTEST_C = -20.0, 200.0
Rows = Sequence[float] | Sequence[Sequence[float]] | Array


@dataclass(frozen=True, eq=False)
class HeatTrace:
    """Leaf temperature over time.

    Parameters
    ----------
    time_h : ndarray, (n,)
        Hours; they rise, two equal times are a step.
    leaf_c : ndarray, (cells, n)
        Leaf temperature, degC.
    moisture_wb : ndarray, (cells, n), or None
        Where it is known.
    """

    time_h: Array
    leaf_c: Array
    moisture_wb: Array | None = None

    def hours_above(self, limit_c: float) -> Array:
        """Hours above a temperature, by cell: exact for straight lines between the times."""
        step = np.diff(self.time_h)
        a, b = self.leaf_c[:, :-1] - limit_c, self.leaf_c[:, 1:] - limit_c
        rise = np.abs(b - a)
        top, low = np.maximum(a, b), np.minimum(a, b)
        part = np.where(
            low >= 0.0,
            np.where(top > 0.0, 1.0, 0.0),
            np.clip(top, 0.0, None) / np.where(rise > 0.0, rise, 1.0),
        )
        return np.asarray((part * step).sum(axis=1), dtype=float)


def heat_trace(time_h: Sequence[float], leaf_c: Rows, moisture_wb: Rows | None = None) -> HeatTrace:
    """Check a trace and bring it to its shape.

    Parameters
    ----------
    time_h : sequence of float
        At least two, rising; two equal times are a step.
    leaf_c, moisture_wb : sequence of float, or one such sequence a cell
        degC from -20 to 200; fraction wet basis from 0 to below 1.

    Raises
    ------
    BadInput
        Fewer than two times, times that run backward, lengths that differ, or impossible values.
    """
    time = np.asarray(time_h, dtype=float)
    require(
        time.ndim == 1 and time.size >= 2,
        "time_h",
        list(time_h),
        "time_h needs at least two times.",
    )
    for value in time.tolist():
        finite("time_h", value, unit="h")
    back = int(np.argmin(np.diff(time)))
    require(
        bool(time[back + 1] >= time[back]) and bool(time[-1] > time[0]),
        "time_h",
        float(time[back + 1]),
        f"time_h goes from {time[back]:g} to {time[back + 1]:g}; times must rise "
        "(two equal times mark a step in temperature).",
    )
    leaf = _rows("leaf_c", leaf_c, time.size)
    for bound in (leaf.min(), leaf.max()):
        finite("leaf_c", float(bound), COLDEST_C, HOTTEST_C, "degC")
    if moisture_wb is None:
        return HeatTrace(time, leaf)
    wet = _rows("moisture_wb", moisture_wb, time.size)
    for bound in (wet.min(), wet.max()):
        finite("moisture_wb", float(bound), 0.0, 0.99)
    require(
        wet.shape == leaf.shape,
        "moisture_wb",
        wet.shape[0],
        f"moisture_wb has {wet.shape[0]} cells and leaf_c {leaf.shape[0]}; give one for each.",
    )
    return HeatTrace(time, leaf, wet)


def _rows(field: str, values: Rows, count: int) -> Array:
    try:
        found = np.atleast_2d(np.asarray(values, dtype=float))
    except ValueError as error:
        raise BadInput(
            field, None, f"{field} has cells of different length; give {count} values for each."
        ) from error
    require(
        found.ndim == 2 and found.shape[1] == count,
        field,
        found.shape[-1],
        f"{field} has {found.shape[-1]} values and time_h {count}; give one for each time.",
    )
    return found


def dryer_trace(dryer: Dryer, run: DryRun) -> HeatTrace:
    """Leaf temperature and moisture of every layer of a dryer along its way.

    The run is solved once more, so that `dry.simulate` carries no layers. Layers keep their place:
    where the bed is turned, leaf changes layer and its loss lies between those of the layers.
    """
    check_run(dryer, run)
    solved = solve(dryer, run, scenarios(dryer, run))
    layers = solved.zones[0].leaf_c.shape[1]
    start, time = 0.0, [np.zeros(1)]
    leaf = [np.full((layers, 1), float(solved.scenarios.leaf_c[0]))]
    wet = [np.full((layers, 1), float(solved.scenarios.moisture_db[0]))]
    for state in solved.zones:
        steps = state.leaf_c.shape[2] - 1
        span = run.residence_h * state.zone.share
        time.append(start + span * np.arange(1, steps + 1) / steps)
        leaf.append(state.leaf_c[0, :, 1:])
        wet.append(state.moisture[0, :, 1:])
        start += span
    return HeatTrace(
        np.concatenate(time),
        np.concatenate(leaf, axis=1),
        np.asarray(moisture_wb_from_db(np.concatenate(wet, axis=1)), dtype=float),
    )


def trace_of(result: StageResult) -> HeatTrace:
    """The trace that a finished run carries: mean of a dryer's depth, bottom and top of a trough.

    Raises
    ------
    BadInput
        For a stage whose result has no course of leaf temperature; give a trace instead.
    """
    if isinstance(result, DryResult):
        return heat_trace(result.curve_time_h, result.curve_leaf_c, result.curve_moisture_wb)
    if isinstance(result, WitherResult):
        leaf = (result.leaf_bottom_c, result.leaf_top_c)
        return heat_trace(result.time_h, leaf, (result.moisture_bottom_wb, result.moisture_top_wb))
    if isinstance(result, SunResult | HoldResult):
        return heat_trace(result.course_time_h, result.course_leaf_c, result.course_moisture_wb)
    kind = type(result).__name__
    raise BadInput(
        "result",
        kind,
        f"result is a {kind}, which has no course of leaf temperature; give a heat_trace of the "
        "probe, or the result of a dryer, trough, sun-dried or waiting load.",
    )
