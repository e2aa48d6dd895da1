"""Many dryer runs at once: thousands of scenarios of one dryer and one leaf, in chunks.

A chunk is marched together, so numpy's overhead is shared by its scenarios; chunks go to worker
processes, or to any executor with the interface of ``concurrent.futures`` (a cluster's too).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from wareleaf.air import humidity_ratio
from wareleaf.measure import BadInput, moisture_db_from_wb, moisture_wb_from_db, require
from wareleaf.stages._dry_heat_source import after_coil
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_solve import Scenarios, Solved, duty_j_kg, scenarios, solve
from wareleaf.stages._dry_spec import AIR_MAX_C, Dryer, TrayDryer
from wareleaf.stages.common import JOULES_PER_KWH, SECONDS_PER_HOUR, Array, finite

CHUNK = 250

_RANGES: dict[str, tuple[float, float]] = {
    "moisture_wb": (0.002, 0.985),
    "residence_h": (1e-4, 1e3),
    "feed_kg_h": (1e-6, 1e6),
    "mass_kg": (1e-6, 1e7),
    "ambient_c": (-25.0, 65.0),
    "ambient_rh": (0.0, 1.0),
    "leaf_c": (-25.0, 95.0),
    "rate_multiplier": (1e-6, 100.0),
    "inlet_shift_k": (-AIR_MAX_C, AIR_MAX_C),
}


@dataclass(frozen=True, eq=False)
class ManyResult:
    """Outcome by scenario, in the order asked; heat is that of the heater for the lot.

    ``water_residual`` is the relative closure of each scenario's water.
    """

    moisture_wb_out: Array
    leaf_temperature_max_c: Array
    leaf_temperature_out_c: Array
    heat_kwh: Array
    water_removed_kg: Array
    water_residual: Array

    def __len__(self) -> int:
        """Count of scenarios."""
        return int(self.moisture_wb_out.size)


Varied = Mapping[str, ArrayLike]


def simulate_many(
    dryer: Dryer,
    run: DryRun,
    varied: Varied | Sequence[DryRun],
    *,
    workers: int = 1,
    chunk: int = CHUNK,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ManyResult:
    """Solve many runs of one dryer with one leaf.

    Parameters
    ----------
    dryer : BeltDryer, TrayDryer or FluidBed
        The machine.
    run : DryRun
        Gives what is not varied.
    varied : mapping of name to array, or sequence of DryRun
        Names: moisture_wb, residence_h, feed_kg_h, mass_kg, ambient_c, ambient_rh, leaf_c,
        rate_multiplier, inlet_shift_k (on all heated zones). Runs must share leaf and pressure.
    workers : int
        Processes; 1: none are started.
    chunk : int
        Scenarios marched together.
    executor : Executor or None
        Runs the chunks in place of processes of our own.
    progress : callable or None
        Told how many of how many scenarios are done, after every chunk.

    Raises
    ------
    BadInput
        Unknown names, arrays of unequal length, values out of range.
    """
    check_run(dryer, run)
    finite("workers", workers, 1, 256)
    finite("chunk", chunk, 1, 100000)
    given = _checked(dryer, run, varied if isinstance(varied, Mapping) else _arrays(run, varied))
    count = next(iter(given.values())).size
    parts = [slice(i, min(i + chunk, count)) for i in range(0, count, chunk)]
    asked = [{name: values[part] for name, values in given.items()} for part in parts]
    found: list[ManyResult | None] = [None] * len(parts)
    done = 0

    def take(n: int, result: ManyResult) -> None:
        nonlocal done
        found[n] = result
        done += len(result)
        if progress is not None:
            progress(done, count)

    if executor is not None:
        _spread_out(executor, dryer, run, asked, take)
    elif workers == 1 or len(parts) == 1:
        for n, part in enumerate(asked):
            take(n, _solve_part(dryer, run, part))
    else:
        with ProcessPoolExecutor(min(workers, len(parts))) as pool:
            _spread_out(pool, dryer, run, asked, take)
    whole = [r for r in found if r is not None]
    return ManyResult(
        **{f.name: np.concatenate([getattr(r, f.name) for r in whole]) for f in fields(ManyResult)}
    )


def _spread_out(
    pool: Executor,
    dryer: Dryer,
    run: DryRun,
    asked: list[dict[str, Array]],
    take: Callable[[int, ManyResult], None],
) -> None:
    waiting = {pool.submit(_solve_part, dryer, run, part): n for n, part in enumerate(asked)}
    for future in as_completed(waiting):
        take(waiting[future], future.result())


def _arrays(run: DryRun, runs: Sequence[DryRun]) -> dict[str, ArrayLike]:
    """The runs as arrays."""
    for other in runs:
        require(
            other.leaf_profile() == run.leaf_profile() and other.pressure_pa == run.pressure_pa,
            "leaf_id",
            other.leaf_id,
            f"leaf_id is {other.leaf_id}: runs that are solved together share leaf and pressure "
            f"with the first, {run.leaf_id}.",
        )
    names = [n for n in _RANGES if n not in ("inlet_shift_k", "mass_kg", "leaf_c")]
    found: dict[str, ArrayLike] = {n: [getattr(r, n) for r in runs] for n in names}
    if all(r.feed_kg_h == 0.0 for r in runs):
        del found["feed_kg_h"]
    found["mass_kg"] = [r.lot_kg() for r in runs]
    found["leaf_c"] = [r.ambient_c if r.leaf_c is None else r.leaf_c for r in runs]
    return found


def _checked(dryer: Dryer, run: DryRun, varied: Varied) -> dict[str, Array]:
    if not varied:
        raise BadInput("varied", 0, "varied is empty; give at least one array of values.")
    given: dict[str, Array] = {}
    for name, values in varied.items():
        require(
            name in _RANGES, name, name, f"{name} is not varied here; use {', '.join(_RANGES)}."
        )
        array = np.asarray(values, dtype=np.float64)
        require(array.ndim == 1 and array.size > 0, name, array.shape,
                f"{name} must be a list of at least one number.")  # fmt: skip
        low, high = _RANGES[name]
        if not np.all(np.isfinite(array)):
            finite(name, float("nan"), low, high)
        finite(name, float(array.min()), low, high)
        finite(name, float(array.max()), low, high)
        given[name] = array
    sizes = {a.size for a in given.values()}
    require(len(sizes) == 1, "varied", sorted(sizes),
            f"varied holds arrays of {sorted(sizes)} values; make them equally long.")  # fmt: skip
    heated = [z.inlet_c for z in dryer.zones if z.inlet_c is not None]
    ambient = given.get("ambient_c", np.array([run.ambient_c]))
    shift = given.get("inlet_shift_k", np.zeros(1))
    if heated:
        require(
            bool(np.all(min(heated) + shift >= ambient)) and max(heated) + shift.max() <= AIR_MAX_C,
            "inlet_shift_k",
            float(shift.min()),
            "inlet_shift_k puts a heated zone below the ambient air or above "
            f"{AIR_MAX_C:g} degC; vary less.",
        )
    return given


def _scenarios(
    dryer: Dryer, run: DryRun, given: dict[str, Array]
) -> tuple[Scenarios, Array, Array]:
    """Scenarios of a chunk, the lot's dry matter kg and the hours of air charged to it."""
    count = next(iter(given.values())).size
    many = scenarios(dryer, run, count)

    def value(name: str) -> Array:
        return given.get(name, np.full(count, float(getattr(run, name))))

    wb, hours, feed = value("moisture_wb"), value("residence_h"), value("feed_kg_h")
    lot = given.get("mass_kg")
    if lot is None:
        lot = feed if run.mass_kg is None else np.full(count, run.mass_kg)
    trays = isinstance(dryer, TrayDryer)
    load = lot / dryer.area_m2 if trays else feed * hours / dryer.area_m2
    ambient_c = value("ambient_c")
    leaf_c = given.get("leaf_c")
    if leaf_c is None:
        leaf_c = ambient_c if run.leaf_c is None else np.full(count, run.leaf_c)
    heated = np.array([z.inlet_c is not None for z in dryer.zones])
    shift = given.get("inlet_shift_k", np.zeros(count))
    varied = replace(
        many,
        moisture_db=np.asarray(moisture_db_from_wb(wb), dtype=np.float64),
        leaf_c=leaf_c,
        dry_load_kg_m2=load * (1.0 - wb),
        residence_h=hours,
        ambient_c=ambient_c,
        ambient_ratio=humidity_ratio(ambient_c, value("ambient_rh"), run.pressure_pa),
        inlet_c=np.where(heated, many.inlet_c + shift[:, None], ambient_c[:, None]),
        rate_multiplier=value("rate_multiplier"),
    )
    return varied, lot * (1.0 - wb), hours if trays else lot / feed


def _solve_part(dryer: Dryer, run: DryRun, given: dict[str, Array]) -> ManyResult:
    many, dry_kg, hours = _scenarios(dryer, run, given)
    solved = solve(dryer, run, many)
    heat, taken = np.zeros(len(many)), np.zeros(len(many))
    for n, state in enumerate(solved.zones):
        air = state.flux * dryer.area_m2 * state.zone.share * SECONDS_PER_HOUR * hours
        heat += np.maximum(air * duty_j_kg(solved, n), 0.0)
        taken += air * _water_kg(solved, n)
    water = dry_kg * (many.moisture_db - solved.moisture_db)
    return ManyResult(
        moisture_wb_out=np.asarray(moisture_wb_from_db(solved.moisture_db), dtype=np.float64),
        leaf_temperature_max_c=solved.leaf_max_c,
        leaf_temperature_out_c=solved.leaf_c,
        heat_kwh=heat / JOULES_PER_KWH / (1.0 - dryer.heater.loss_fraction),
        water_removed_kg=water,
        water_residual=np.abs(taken - water) / (dry_kg * many.moisture_db),
    )


def _water_kg(solved: Solved, index: int) -> Array:
    """Water that leaves a zone with each kg of its dry air, kg/kg."""
    state, many = solved.zones[index], solved.scenarios
    if state.bed is None:
        return np.zeros(len(many))
    r = state.zone.recirculated
    fresh = many.ambient_ratio + many.added_ratio[:, index]
    gone = after_coil(
        state.zone, solved.tables, state.bed.exhaust_ratio, state.bed.exhaust_enthalpy
    )[3]
    found: Array = (1.0 - r) * (state.bed.exhaust_ratio - fresh) + r * gone + state.drained
    return found
