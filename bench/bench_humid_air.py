"""Humid-air states per second: humidity ratio and wet bulb, against CoolProp and psychrolib.

The same random states for all three, -20 to 60 degC (where all three are right), 2 to 98 %, 80 to
105 kPa. The libraries are called the way each is meant to be called on many states: CoolProp with
arrays, psychrolib state by state (its array mode needs numba). They get fewer states because they
are slower; the rate is per state.
"""

from __future__ import annotations

import numpy as np
import psychrolib
from CoolProp.CoolProp import HAPropsSI

from bench import Row, median_seconds_of
from wareleaf import air

OURS = 40_000
THEIRS = 2_000


def run() -> list[Row]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    random = np.random.default_rng(20)
    t = random.uniform(-20.0, 60.0, OURS)
    rh = random.uniform(0.02, 0.98, OURS)
    p = random.uniform(80e3, 105e3, OURS)
    few = (t[:THEIRS], rh[:THEIRS], p[:THEIRS])
    w = air.humidity_ratio(t, rh, p)
    rows = _rows(
        "humidity ratio",
        lambda: air.humidity_ratio(t, rh, p),
        lambda: _coolprop("W", *few),
        lambda: [psychrolib.GetHumRatioFromRelHum(*s) for s in zip(*few, strict=True)],
        ">= 100",
    )
    rows += _rows(
        "wet bulb",
        # from the same givens as the others: relative humidity first, then the search
        lambda: air.wet_bulb_c(t, air.humidity_ratio(t, rh, p), p),
        lambda: _coolprop("B", *few),
        lambda: [psychrolib.GetTWetBulbFromRelHum(*s) for s in zip(*few, strict=True)],
        ">= 20",
    )
    return rows + _agreement(few, w[:THEIRS])


def _coolprop(key, t, rh, p):
    return HAPropsSI(key, "T", t + 273.15, "R", rh, "P", p)


def _rows(name, ours, coolprop, psychro, target) -> list[Row]:
    seconds = median_seconds_of([ours, coolprop, psychro])
    rate = OURS / seconds[0]
    return [
        Row(f"{name}, CoolProp", rate, THEIRS / seconds[1], rate * seconds[1] / THEIRS,
            "states/s", target),
        Row(f"{name}, psychrolib", rate, THEIRS / seconds[2], rate * seconds[2] / THEIRS,
            "states/s", ""),
    ]  # fmt: skip


def _agreement(few, w) -> list[Row]:
    """Fast is worth nothing when wrong: the largest distance from CoolProp on the timed states."""
    t, _, p = few
    ratio = 100.0 * float(np.abs(w / _coolprop("W", *few) - 1.0).max())
    wet = air.wet_bulb_c(t, w, p)
    # near freezing a wet and an iced bulb are both steady, and CoolProp lands on either
    single = (wet < -0.2) | (wet > 0.8)
    apart = np.abs(wet + 273.15 - _coolprop("B", *few))[single]
    worst = float(apart.max())
    left_out = f"CoolProp; {np.count_nonzero(~single)} of {THEIRS} near freezing left out"
    return [
        Row("humidity ratio, difference", ratio, None, None, "%", "<= 0.1", "CoolProp"),
        Row("wet bulb, difference", worst, None, None, "K", "<= 0.05", left_out),
    ]
