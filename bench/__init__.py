"""Benchmarks: ours and a reference on the same work, in one run. See README.md."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

# One thread a library, set before numpy is loaded: ratios are between codes, not core counts.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # noqa: TID251 - the bench is no part of the pure core


@dataclass(frozen=True)
class Row:
    """One line of the table.

    ``ours`` and ``reference`` are in ``unit``; ``ratio`` says how many times better ours is (above
    1 is better, whichever way the unit runs). ``reference`` and ``ratio`` are None where there is
    nothing to compare with. ``target`` is the ratio (or, without a reference, the value in
    ``unit``) that is asked for, with the sign that says which side is good: ``">= 20"``.
    """

    name: str
    ours: float
    reference: float | None
    ratio: float | None
    unit: str
    target: str = ""
    note: str = ""


def median_seconds(work: Callable[[], Any], repeats: int = 7, warm: int = 1) -> float:
    """Median wall time of one call, after warming up."""
    for _ in range(warm):
        work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def median_seconds_of(
    works: list[Callable[[], Any]],
    repeats: int = 7,
    clock: Callable[[], float] = time.perf_counter,
) -> list[float]:
    """Median time of several works taken in turns, so that a noisy moment hits all.

    By the wall unless ``clock`` is another, such as `time.process_time`.
    """
    times: list[list[float]] = [[] for _ in works]
    for work in works:
        work()
    for _ in range(repeats):
        for work, found in zip(works, times, strict=True):
            start = clock()
            work()
            found.append(clock() - start)
    return [statistics.median(found) for found in times]


def meets(row: Row) -> bool | None:
    """Whether a row meets its target; None without one."""
    if not row.target:
        return None
    sign, _, number = row.target.partition(" ")
    value = row.ours if row.ratio is None else row.ratio
    return value >= float(number) if sign == ">=" else value <= float(number)
