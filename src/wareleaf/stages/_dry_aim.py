"""Settings that bring a dryer to a target moisture without overheating the leaf.

The belt time is set first, at the zone temperatures as they are. Only when that does not serve
(leaf too hot, or too wet at the longest time) are all heated zones shifted together, by whole
degrees and as little as possible. All trials of a round are solved together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wareleaf.measure import moisture_db_from_wb
from wareleaf.stages._dry_load import DryRun, check_run, check_target
from wareleaf.stages._dry_result import DryResult
from wareleaf.stages._dry_run import simulate
from wareleaf.stages._dry_solve import scenarios, solve
from wareleaf.stages._dry_spec import AIR_MAX_C, Dryer, FluidBed, TrayDryer, Zone
from wareleaf.stages.common import Aim, Array, finite

_TIMES, _ROUNDS = 12, 3
_SHIFT_MOST_K = 60
_LEAF_SLACK_K = 0.01


@dataclass(frozen=True)
class _Search:
    """What is asked of the dryer, and the range of times it has."""

    dryer: Dryer
    run: DryRun
    target_db: float
    limit_c: float
    low_h: float
    high_h: float


@dataclass(frozen=True, eq=False)
class _Trials:
    """Outcome by shift (rows) and time (columns)."""

    shift_k: Array
    time_h: Array
    moisture_db: Array
    leaf_max_c: Array


def aim(
    dryer: Dryer,
    run: DryRun,
    target_moisture_wb: float,
    leaf_temperature_max_c: float | None = None,
) -> Aim[DryResult]:
    """Find the belt time, and if need be the zone temperatures, that reach a moisture.

    Parameters
    ----------
    dryer, run
        As for `simulate`; ``run.residence_h`` is where the search starts from, no more.
    target_moisture_wb : float
        Wanted at the outlet.
    leaf_temperature_max_c : float or None
        The leaf must stay at or below this; ``None``: the profile's quality limit.

    Returns
    -------
    Aim
        ``settings`` holds ``residence_h``, ``inlet_shift_k`` and ``zone_N_inlet_c``. Out of reach:
        the nearest settings, and a reason (a belt that floods, the driest reachable in that air,
        or what the leaf can bear).
    """
    check_run(dryer, run)
    check_target(run, target_moisture_wb)
    profile = run.leaf_profile()
    limit = profile.leaf_temperature_max_c
    if leaf_temperature_max_c is not None:
        finite("leaf_temperature_max_c", leaf_temperature_max_c, 20.0, AIR_MAX_C, "degC")
        limit = leaf_temperature_max_c
    flood_h = flood_time_h(dryer, run)
    high = min(dryer.time_max_h, flood_h)
    if high < dryer.time_min_h:
        return _flooded(dryer, run, flood_h)
    target_db = moisture_db_from_wb(target_moisture_wb)
    search = _Search(dryer, run, target_db, limit, dryer.time_min_h, high)
    shift = _find_shift(search)
    if shift is None:
        return _unreachable(search, target_moisture_wb, flood_h)
    return _reached(search, shift)


def flood_time_h(dryer: Dryer, run: DryRun) -> float:
    """Belt time at which the load or the depth reaches its limit at this feed, h."""
    if isinstance(dryer, TrayDryer):
        return np.inf if _most_load(dryer, run) * dryer.area_m2 >= run.lot_kg() else 0.0
    return _most_load(dryer, run) * dryer.area_m2 / run.feed_kg_h


def _most_load(dryer: Dryer, run: DryRun) -> float:
    if isinstance(dryer, FluidBed):
        return dryer.loading_max_kg_m2
    deepest = dryer.depth_max_m * run.leaf_profile().bulk_density_kg_m3
    return min(dryer.loading_max_kg_m2, deepest)


def _try(search: _Search, shifts: Array, times: Array) -> _Trials:
    """Solve every shift (rows) at its times (rows, columns) together."""
    dryer, run = search.dryer, search.run
    wide = np.broadcast_to(times, (shifts.size, times.shape[-1]))
    many = scenarios(dryer, run, wide.size)
    flat_time, flat_shift = wide.ravel(), np.repeat(shifts, wide.shape[1])
    load = many.dry_load_kg_m2
    if not isinstance(dryer, TrayDryer):
        load = load * flat_time / run.residence_h
    heated = np.array([z.inlet_c is not None for z in dryer.zones])
    varied = replace(
        many,
        residence_h=flat_time,
        dry_load_kg_m2=load,
        inlet_c=many.inlet_c + flat_shift[:, None] * heated,
    )
    solved = solve(dryer, run, varied)
    return _Trials(
        shifts,
        wide,
        solved.moisture_db.reshape(wide.shape),
        solved.leaf_max_c.reshape(wide.shape),
    )


def _reaching(search: _Search, trials: _Trials) -> tuple[Array, Array]:
    """Time at which each shift reaches the target (infinite if not), and the leaf's heat then."""
    times, leaf = np.full(trials.shift_k.size, np.inf), np.full(trials.shift_k.size, np.inf)
    for row in range(trials.shift_k.size):
        dry = np.flatnonzero(trials.moisture_db[row] <= search.target_db)
        if dry.size == 0:
            continue
        j = int(dry[0])
        i = max(j - 1, 0)
        x, t, c = trials.moisture_db[row], trials.time_h[row], trials.leaf_max_c[row]
        part = 1.0 if i == j else (x[i] - search.target_db) / (x[i] - x[j])
        times[row], leaf[row] = t[i] + part * (t[j] - t[i]), c[i] + part * (c[j] - c[i])
    return times, leaf


def _grid(search: _Search) -> Array:
    return np.geomspace(search.low_h, search.high_h, _TIMES)[None, :]


def _find_shift(search: _Search) -> float | None:
    """Smallest shift of the heated zones that serves, in whole degrees; None when none does."""
    times, leaf = _reaching(search, _try(search, np.zeros(1), _grid(search)))
    limit = search.limit_c + _LEAF_SLACK_K
    if np.isfinite(times[0]) and leaf[0] <= limit:
        return 0.0
    set_points = [z.inlet_c for z in search.dryer.zones if z.inlet_c is not None]
    if not set_points:
        return None
    down = min(_SHIFT_MOST_K, int(max(set_points) - search.run.ambient_c - 1.0))
    up = min(_SHIFT_MOST_K, int(AIR_MAX_C - max(set_points)))
    sign, most = (-1.0, down) if np.isfinite(times[0]) else (1.0, up)
    step = 6
    coarse = sign * np.arange(step, max(most, 1) + 1, step, dtype=np.float64)
    found = _first_serving(search, coarse, limit)
    if found is None:
        # between the coarse steps, or hotter air that dries sooner although the leaf limit bites
        coarse = -sign * np.arange(step, (up if sign < 0 else down) + 1, step, dtype=np.float64)
        found = _first_serving(search, coarse, limit)
    if found is None:
        return None
    away = np.sign(found)
    fine = np.asarray(away * np.arange(abs(found) - step + 1, abs(found) + 1), dtype=np.float64)
    return _first_serving(search, fine[fine != 0.0], limit)


def _first_serving(search: _Search, shifts: Array, limit: float) -> float | None:
    if shifts.size == 0:
        return None
    set_points = np.array([z.inlet_c for z in search.dryer.zones if z.inlet_c is not None])
    coldest = set_points.min() + shifts
    shifts = shifts[coldest > search.run.ambient_c]
    if shifts.size == 0:
        return None
    times, leaf = _reaching(search, _try(search, shifts, _grid(search)))
    good = np.flatnonzero(np.isfinite(times) & (leaf <= limit))
    return float(shifts[good[0]]) if good.size else None


def time_to_target(search: _Search, shift_k: float) -> float:
    """Belt time that reaches the target at a shift, h: rounds of narrowing grids."""
    low, high = search.low_h, search.high_h
    for _ in range(_ROUNDS):
        grid = np.linspace(low, high, _TIMES)[None, :]
        trials = _try(search, np.array([shift_k]), grid)
        dry = np.flatnonzero(trials.moisture_db[0] <= search.target_db)
        if dry.size == 0:
            return high
        j = int(dry[0])
        low, high = float(grid[0, max(j - 1, 0)]), float(grid[0, j])
        if j == 0:
            return high
    found = _reaching(search, trials)[0]
    return float(found[0])


def shifted(dryer: Dryer, shift_k: float) -> Dryer:
    """The dryer with every heated zone shifted."""

    def move(zone: Zone) -> Zone:
        return zone if zone.inlet_c is None else replace(zone, inlet_c=zone.inlet_c + shift_k)

    return replace(dryer, zones=tuple(move(z) for z in dryer.zones))


def settings_of(dryer: Dryer, residence_h: float, shift_k: float) -> dict[str, float]:
    """Settings by name."""
    found = {"residence_h": residence_h, "inlet_shift_k": shift_k}
    for n, zone in enumerate(shifted(dryer, shift_k).zones, start=1):
        if zone.inlet_c is not None:
            found[f"zone_{n}_inlet_c"] = zone.inlet_c
    return found


def _at(search: _Search, time_h: float, shift_k: float) -> DryResult:
    return simulate(shifted(search.dryer, shift_k), replace(search.run, residence_h=time_h))


def _reached(search: _Search, shift_k: float) -> Aim[DryResult]:
    time_h = time_to_target(search, shift_k)
    result = _at(search, time_h, shift_k)
    reason = f"{60 * time_h:.0f} min in the dryer, {result.loading_kg_m2:.1f} kg/m2"
    if shift_k:
        way = "hotter" if shift_k > 0 else "cooler"
        reason += f", all heated zones {abs(shift_k):.0f} K {way}"
    reason += f"; the leaf reaches {result.leaf_temperature_max_c:.0f} degC."
    if 100.0 * result.moisture_wb_out < 100.0 * _wb(search.target_db) - 0.05:
        reason += " That is the shortest time the drive can set; it dries further than asked."
    return Aim(settings_of(search.dryer, time_h, shift_k), result, True, reason)


def _wb(moisture_db: float) -> float:
    return moisture_db / (1.0 + moisture_db)


def _flooded(dryer: Dryer, run: DryRun, flood_h: float) -> Aim[DryResult]:
    result = simulate(dryer, replace(run, residence_h=dryer.time_min_h))
    if isinstance(dryer, TrayDryer):
        reason = f"The trays flood: {result.loading_kg_m2:.1f} kg/m2 is more than air can pass."
    else:
        most = run.feed_kg_h * flood_h / dryer.time_min_h
        reason = (
            f"The belt floods even at its fastest: it can take {most:.0f} kg/h of this leaf, "
            f"not {run.feed_kg_h:.0f}."
        )
    return Aim(settings_of(dryer, dryer.time_min_h, 0.0), result, False, reason)


def _unreachable(search: _Search, target_wb: float, flood_h: float) -> Aim[DryResult]:
    """The driest that the leaf can bear, and what stands in the way."""
    heated = any(z.inlet_c is not None for z in search.dryer.zones)
    shifts = np.array([0.0])
    if heated:
        shifts = np.arange(-_SHIFT_MOST_K, _SHIFT_MOST_K + 1.0, 6.0)
        points = np.array([z.inlet_c for z in search.dryer.zones if z.inlet_c is not None])
        fits = (points.min() + shifts > search.run.ambient_c) & (points.max() + shifts <= AIR_MAX_C)
        shifts = shifts[fits | (shifts == 0.0)]
    trials = _try(search, shifts, _grid(search))
    borne = trials.leaf_max_c <= search.limit_c + _LEAF_SLACK_K
    wetness = np.where(borne, trials.moisture_db, np.inf)
    if not borne.any():
        wetness = trials.leaf_max_c
    row, col = np.unravel_index(int(np.argmin(wetness)), wetness.shape)
    time_h, shift = float(trials.time_h[row, col]), float(shifts[row])
    result = _at(search, time_h, shift)
    if not borne.any():
        reason = (
            f"No setting keeps the leaf at or below {search.limit_c:.0f} degC: it reaches "
            f"{result.leaf_temperature_max_c:.0f} degC at the mildest."
        )
    else:
        reason = (
            f"{100 * target_wb:.1f} % is out of reach: the driest reachable in that air with the "
            f"leaf at or below {search.limit_c:.0f} degC is {100 * result.moisture_wb_out:.1f} %."
        )
        if flood_h < search.dryer.time_max_h and col == trials.time_h.shape[1] - 1:
            reason += " A slower belt floods; feed less."
    return Aim(settings_of(search.dryer, time_h, shift), result, False, reason)
