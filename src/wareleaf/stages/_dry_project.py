"""What the readings say of a dryer at work: its outlet moisture now and the belt time to set.

Two things are learned: how fast this lot gives up water (a multiplier on the rate constant,
log-normal before the readings) and how wet it comes in. The posterior is found by Gauss-Newton on
both; every round solves the run and its neighbours together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.measure import BadInput, moisture_db_from_wb, moisture_wb_from_db
from wareleaf.stages._dry_aim import flood_time_h
from wareleaf.stages._dry_load import DryRun, check_run, loading_kg_m2
from wareleaf.stages._dry_observe import observe, quantities, reading_sd, set_aside, way
from wareleaf.stages._dry_solve import Scenarios, Solved, scenarios, solve
from wareleaf.stages._dry_spec import Dryer, TrayDryer
from wareleaf.stages._dry_spread import rate_sd
from wareleaf.stages.common import (
    Array,
    Projection,
    StageReading,
    check_readings,
    finite,
    log_sd,
)

_ROUNDS, _STEP = 8, 0.05
_WIDE_SD = 3.0
_FAR_SD = 3.0
_FAR = (
    "The readings are far from what this leaf does at these settings: check the meters, the feed "
    "and the air before you set by them."
)
_WB_STEP = 2e-3
_TIMES, _NARROWINGS = 12, 3


@dataclass(frozen=True)
class DryProjection(Projection):
    """A projection, with what was learned.

    ``finish_h`` is the residence time that reaches the target, to be set on the belt (on trays:
    the hour at which they are there).

    Parameters
    ----------
    moisture_wb_out, moisture_wb_out_sd : float
        At the outlet with the settings as they are, after the readings.
    rate_multiplier, rate_multiplier_sd : float
        On the profile's rate constant.
    moisture_wb_in, moisture_wb_in_sd : float
        Of the feed.
    """

    moisture_wb_out: float
    moisture_wb_out_sd: float
    rate_multiplier: float
    rate_multiplier_sd: float
    moisture_wb_in: float
    moisture_wb_in_sd: float


def project(
    dryer: Dryer,
    run: DryRun,
    readings: Sequence[StageReading],
    target_moisture_wb: float,
) -> DryProjection:
    """Learn from readings; give the outlet moisture and the time to set.

    Parameters
    ----------
    dryer, run
        As set now.
    readings : sequence of StageReading
        ``moisture_wb_in``, ``moisture_wb_out``, ``exhaust_c`` (all zones in one duct) or
        ``exhaust_c_N`` of zone N; on trays also ``moisture_wb`` at its hour. ``mass_kg``: on trays
        the whole charge at its hour, on a belt all that came off since the start; dry matter stays,
        so it tells the moisture, the less the less is off (the pace of the feed is not that sure).
        A weight that this lot cannot have is set aside, as is a temperature above that of all air
        and leaf that goes in, and the note says so; it also says when the readings are further from
        the model than leaf, feed and meter explain.
        ``leaf_temperature_c``: at the outlet, on trays at its hour; its doubt is joined with that
        of the air.
    target_moisture_wb : float
        Wanted at the outlet.
    """
    check_run(dryer, run)
    finite("target_moisture_wb", target_moisture_wb, 0.0, 0.98, above=True)
    known = check_readings(readings, quantities(dryer))
    for reading in known:
        if reading.quantity.startswith("moisture") and not 0.0 < reading.value < 0.99:
            raise BadInput(
                "readings",
                reading.value,
                f"{reading.quantity} is {reading.value:g}; it must be above 0 and below 0.99.",
            )
    known, aside = _usable(dryer, run, known)
    mean, cov = _learn(dryer, run, known)
    solved, root = _around(dryer, run, mean, cov)
    out = np.array(moisture_wb_from_db(solved.moisture_db))
    times = _finish(dryer, run, mean, root, target_moisture_wb)
    curve_t, curve, sd = _curve(run, solved)
    rate = run.rate_multiplier * math.exp(mean[0])
    finish_sd = _pair_sd(times) if np.all(np.isfinite(times)) else math.inf
    last_h = readings[-1].time_h if readings else 0.0
    note = _note(dryer, run, (float(times[0]), finish_sd), target_moisture_wb, rate)
    far = _FAR if _is_far(dryer, run, known, mean, solved) else ""
    now, now_sd = float(out[0]), _pair_sd(out)
    if isinstance(dryer, TrayDryer):
        now = float(np.interp(last_h, curve_t, curve))
        now_sd = float(np.interp(last_h, curve_t, sd))
    return DryProjection(
        finish_h=float(times[0]),
        finish_sd_h=finish_sd,
        moisture_wb_now=now,
        moisture_wb_now_sd=now_sd,
        curve_time_h=tuple(curve_t.tolist()),
        curve_moisture_wb=tuple(curve.tolist()),
        curve_low=tuple(np.maximum(curve - 1.96 * sd, 0.0).tolist()),
        curve_high=tuple((curve + 1.96 * sd).tolist()),
        note=" ".join(filter(None, [note, far, aside])),
        moisture_wb_out=float(out[0]),
        moisture_wb_out_sd=_pair_sd(out),
        rate_multiplier=rate,
        rate_multiplier_sd=rate * math.sqrt(cov[0, 0]),
        moisture_wb_in=float(run.moisture_wb + mean[1]),
        moisture_wb_in_sd=math.sqrt(cov[1, 1]),
    )


def _vary(dryer: Dryer, run: DryRun, theta: Array) -> Scenarios:
    """Scenarios at (ln multiplier, change of feed moisture), one row each."""
    many = scenarios(dryer, run, len(theta))
    wb = np.clip(run.moisture_wb + theta[:, 1], 0.002, 0.985)
    return replace(
        many,
        moisture_db=moisture_db_from_wb(wb),
        dry_load_kg_m2=loading_kg_m2(dryer, run) * (1.0 - wb),
        rate_multiplier=run.rate_multiplier * np.exp(theta[:, 0]),
    )


def _usable(
    dryer: Dryer, run: DryRun, readings: Sequence[StageReading]
) -> tuple[tuple[StageReading, ...], str]:
    """Readings to learn from, and sentences on those that are set aside."""
    if all(r.quantity != "mass_kg" for r in readings):
        return set_aside(dryer, run, readings, None)
    rate, wet = _WIDE_SD * np.sqrt(_prior(run))
    ends = np.array([[rate, wet], [rate, -wet], [-rate, wet], [-rate, -wet]])
    return set_aside(dryer, run, readings, solve(dryer, run, _vary(dryer, run, ends)))


def _prior(run: DryRun) -> Array:
    """Variances of ln(multiplier) and feed moisture before any reading."""
    return np.array([max(log_sd(rate_sd(run)), 1e-6) ** 2, max(run.moisture_wb_sd, 1e-6) ** 2])


def _learn(dryer: Dryer, run: DryRun, readings: Sequence[StageReading]) -> tuple[Array, Array]:
    """Posterior mode and covariance, by Gauss-Newton with halved steps when they overshoot."""
    prior = _prior(run)
    mean, cov = np.zeros(2), np.diag(prior)
    if not readings:
        return mean, cov
    value = np.array([r.value for r in readings])
    weight = np.array([reading_sd(dryer, run, r) for r in readings]) ** -2.0
    nudge = np.array([[0, 0], [_STEP, 0], [-_STEP, 0], [0, _WB_STEP], [0, -_WB_STEP]])

    def cost(theta: Array, seen: Array) -> float:
        return float(np.sum(weight * (value - seen) ** 2) + np.sum(theta**2 / prior))

    best = math.inf
    step, kept = np.zeros(2), mean
    for _ in range(_ROUNDS):
        seen = observe(dryer, run, readings, solve(dryer, run, _vary(dryer, run, mean + nudge)))
        now = cost(mean, seen[0])
        if now > best * (1 + 1e-9):
            step = 0.5 * step
            mean = kept + step
            continue
        best, kept = now, mean
        slope = np.stack(
            [(seen[1] - seen[2]) / (2 * _STEP), (seen[3] - seen[4]) / (2 * _WB_STEP)], axis=1
        )
        precision = np.diag(1.0 / prior) + slope.T @ (weight[:, None] * slope)
        cov = np.linalg.inv(precision)
        step = cov @ (slope.T @ (weight * (value - seen[0])) - mean / prior)
        step[0] = np.clip(step[0], -0.7, 0.7)
        mean = kept + step
        if np.all(np.abs(step) < 1e-4 * np.sqrt(prior)):
            break
    return mean, cov


def _is_far(
    dryer: Dryer, run: DryRun, known: Sequence[StageReading], mean: Array, solved: Solved
) -> bool:
    """Whether lot, feed or a reading lies more than three standard deviations off."""
    if not known:
        return False
    off = np.array([r.value for r in known]) - observe(dryer, run, known, solved)[0]
    sd = np.array([reading_sd(dryer, run, r) for r in known])
    return bool(np.any(np.abs([*(mean / np.sqrt(_prior(run))), *(off / sd)]) > _FAR_SD))


def _around(dryer: Dryer, run: DryRun, mean: Array, cov: Array) -> tuple[Solved, Array]:
    """The mode and four points a posterior standard deviation times root two away."""
    values, vectors = np.linalg.eigh(cov)
    root = vectors * np.sqrt(2.0 * np.maximum(values, 0.0))
    points = np.stack([mean, *(mean + root.T), *(mean - root.T)])
    return solve(dryer, run, _vary(dryer, run, points)), points


def _pair_sd(values: Array) -> float:
    """Standard deviation over the four points around the mode (third-degree rule)."""
    around = values[1:]
    return float(np.sqrt(np.mean((around - around.mean()) ** 2)))


def _finish(dryer: Dryer, run: DryRun, mean: Array, points: Array, target_wb: float) -> Array:
    """Time that reaches the target at each point, h; infinite where none does."""
    target = float(moisture_db_from_wb(target_wb))
    if isinstance(dryer, TrayDryer):
        time_h, x = way(run, solve(dryer, run, _vary(dryer, run, points)))
        return np.array([_crossing(time_h, row, target) for row in x])
    high_h = min(dryer.time_max_h, flood_time_h(dryer, run))
    if high_h <= dryer.time_min_h:
        return np.full(len(points), math.inf)
    rows, parts = np.arange(len(points)), np.linspace(0.0, 1.0, _TIMES)
    low, high = np.full(len(points), dryer.time_min_h), np.full(len(points), high_h)
    for _ in range(_NARROWINGS):
        grid = low[:, None] + (high - low)[:, None] * parts
        time_h = grid.ravel()
        many = _vary(dryer, run, np.repeat(points, _TIMES, axis=0))
        load = many.dry_load_kg_m2 * time_h / run.residence_h
        varied = replace(many, residence_h=time_h, dry_load_kg_m2=load)
        x = solve(dryer, run, varied).moisture_db.reshape(grid.shape)
        dry = x <= target
        j = np.argmax(dry, axis=1)
        i = np.maximum(j - 1, 0)
        found = [_crossing(*pair, target) for pair in zip(grid, x, strict=True)]
        low, high = grid[rows, i], grid[rows, j]
        if not np.all(dry.any(axis=1) & (j > 0)):  # out of reach, or there at the shortest time
            break
    return np.array(found)


def _crossing(time_h: Array, x: Array, target: float) -> float:
    below = np.flatnonzero(x <= target)
    if below.size == 0:
        return math.inf
    j = int(below[0])
    if j == 0:
        return float(time_h[0])
    part = (x[j - 1] - target) / (x[j - 1] - x[j])
    return float(time_h[j - 1] + part * (time_h[j] - time_h[j - 1]))


def _curve(run: DryRun, solved: Solved) -> tuple[Array, Array, Array]:
    time_h, x = way(run, solved)
    wb = np.asarray(moisture_wb_from_db(x))
    sd = np.sqrt(np.mean((wb[1:] - wb[1:].mean(axis=0)) ** 2, axis=0))
    return time_h, wb[0], sd


def _note(
    dryer: Dryer, run: DryRun, finish: tuple[float, float], target_wb: float, rate: float
) -> str:
    finish_h, sd_h = finish
    lead = f"This lot dries at {rate:.2f} times the usual rate; "
    goal = f"{100 * target_wb:.1f} %"
    if not math.isfinite(finish_h):
        return lead + f"{goal} is not reached in the time there is: add heat, air or time."
    spread = f" (+- {60 * sd_h:.0f} min)" if math.isfinite(sd_h) else ""
    if isinstance(dryer, TrayDryer):
        return lead + f"{goal} after {60 * finish_h:.0f} min{spread}."
    way = "slower" if finish_h > run.residence_h else "faster"
    return lead + (
        f"for {goal} set {60 * finish_h:.0f} min{spread}, {way} than the "
        f"{60 * run.residence_h:.0f} min now."
    )
