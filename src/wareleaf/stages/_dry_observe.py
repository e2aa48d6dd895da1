"""What a reading on a dryer would show, were the run as the model has it in each scenario."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from wareleaf.measure import BadInput, moisture_wb_from_db
from wareleaf.stages._dry_cell import air_dry_bulb
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_solve import Solved
from wareleaf.stages._dry_spec import Dryer, TrayDryer
from wareleaf.stages.common import Array, StageReading, weighed_kg

_ANY = ("mass_kg", "leaf_temperature_c")
_ABSURD_SD = 4.0


def quantities(dryer: Dryer) -> tuple[str, ...]:
    """Readings that `project` can use for this dryer."""
    zones = tuple(f"exhaust_c_{n}" for n in range(1, len(dryer.zones) + 1))
    if isinstance(dryer, TrayDryer):
        return ("moisture_wb", "moisture_wb_in", "moisture_wb_out", *_ANY, *zones)
    return ("moisture_wb_in", "moisture_wb_out", "exhaust_c", *_ANY, *zones)


def observe(dryer: Dryer, run: DryRun, readings: Sequence[StageReading], solved: Solved) -> Array:
    """What each reading would have shown, (scenario, reading)."""
    return np.stack([_expected(dryer, run, r, solved) for r in readings], axis=1)


def _expected(dryer: Dryer, run: DryRun, reading: StageReading, solved: Solved) -> Array:
    name = reading.quantity
    if name == "moisture_wb_in":
        return np.asarray(moisture_wb_from_db(solved.scenarios.moisture_db))
    if name == "moisture_wb_out":
        return np.asarray(moisture_wb_from_db(solved.moisture_db))
    if name == "moisture_wb":
        time_h, x = way(run, solved)
        wb = moisture_wb_from_db(x)
        return np.array([np.interp(reading.time_h, time_h, row) for row in wb])
    if name == "leaf_temperature_c":
        return _leaf_c(dryer, run, reading, solved)
    if name == "mass_kg":
        return _mass_kg(dryer, run, reading, solved)
    live = [z for z in solved.zones if z.bed is not None]
    if name == "exhaust_c":
        weight = np.stack([z.flux * z.zone.share for z in live])
        parts = [z.bed for z in live if z.bed is not None]
        heat = np.stack([p.exhaust_enthalpy for p in parts])
        ratio = np.stack([p.exhaust_ratio for p in parts])
        total = weight.sum(axis=0)
        return air_dry_bulb((weight * heat).sum(0) / total, (weight * ratio).sum(0) / total)
    bed = solved.zones[int(name.removeprefix("exhaust_c_")) - 1].bed
    if bed is None:
        raise BadInput("readings", name, f"{name} is read in a zone that blows no air.")
    return air_dry_bulb(bed.exhaust_enthalpy, bed.exhaust_ratio)


def _share_off(run: DryRun, time_h: float) -> float:
    """Share of the lot that is off a belt or fluid bed; it is fed at an even pace."""
    return min(1.0, (time_h - run.residence_h) * run.feed_kg_h / run.lot_kg())


def set_aside(
    dryer: Dryer, run: DryRun, readings: Sequence[StageReading], extremes: Solved | None
) -> tuple[tuple[StageReading, ...], str]:
    """Readings that this lot cannot give are left out, each with a sentence.

    ``extremes`` are scenarios at the far ends of what the lot may be; None when none was weighed.
    A bin weighed alone, leaf weighed before any is off, or an exhaust hotter than the air that goes
    in (another unit, a typing mistake) would else drag the projection away.
    """
    taken, said = [], []
    for reading in readings:
        wrong = ""
        if reading.quantity == "mass_kg" and extremes is not None:
            wrong = _weight_amiss(dryer, run, reading, extremes)
        elif reading.quantity.startswith(("exhaust_c", "leaf_temperature_c")):
            wrong = _too_hot(dryer, run, reading)
        if wrong:
            said.append(wrong)
        else:
            taken.append(reading)
    return tuple(taken), " ".join(said)


def _weight_amiss(dryer: Dryer, run: DryRun, reading: StageReading, extremes: Solved) -> str:
    """What is wrong with a weight; nothing when the lot can have it."""
    if not isinstance(dryer, TrayDryer) and reading.time_h <= run.residence_h:
        return (
            f"The weight at {reading.time_h:.3g} h is kept but set aside: nothing is off before "
            f"the residence time of {run.residence_h:g} h."
        )
    expected, sd = _mass_kg(dryer, run, reading, extremes), reading_sd(dryer, run, reading)
    low, high = float(expected.min()), float(expected.max())
    if low - _ABSURD_SD * sd <= reading.value <= high + _ABSURD_SD * sd:
        return ""
    return (
        f"The weight of {reading.value:.4g} kg at {reading.time_h:.3g} h is kept but set "
        f"aside: this lot can only weigh from {low:.4g} to {high:.4g} kg then."
    )


def _too_hot(dryer: Dryer, run: DryRun, reading: StageReading) -> str:
    """What is wrong with a temperature: nothing in a dryer is hotter than the air and leaf fed."""
    set_points = [z.inlet_c for z in dryer.zones if z.inlet_c is not None]
    fed = run.ambient_c if run.leaf_c is None else run.leaf_c
    hottest = max(run.ambient_c, fed, *set_points)
    doubt = math.hypot(reading.standard_uncertainty, run.inlet_c_sd)
    if reading.value <= hottest + _ABSURD_SD * doubt:
        return ""
    return (
        f"The {_words(reading.quantity)} of {reading.value:.4g} degC at {reading.time_h:.3g} h is "
        f"kept but set aside: nothing in this dryer is hotter than {hottest:.4g} degC."
    )


def _words(quantity: str) -> str:
    """A temperature as people call it."""
    if quantity == "leaf_temperature_c":
        return "leaf temperature"
    zone = quantity.removeprefix("exhaust_c").removeprefix("_")
    return f"exhaust of zone {zone}" if zone else "exhaust"


def reading_sd(dryer: Dryer, run: DryRun, reading: StageReading) -> float:
    """Standard uncertainty of a reading with what the model does not know beside it."""
    own = 0.0
    if reading.quantity == "leaf_temperature_c":
        own = run.inlet_c_sd
    elif reading.quantity == "mass_kg" and not isinstance(dryer, TrayDryer):
        own = run.loading_relative_sd * reading.value * (_share_off(run, reading.time_h) < 1.0)
    return math.hypot(reading.standard_uncertainty, own)


def _mass_kg(dryer: Dryer, run: DryRun, reading: StageReading, solved: Solved) -> Array:
    """Weight on trays at an hour, or off a belt by then: the dry matter of the feed and water."""
    start_wb = np.asarray(moisture_wb_from_db(solved.scenarios.moisture_db))
    if isinstance(dryer, TrayDryer):
        time_h, x = way(run, solved)
        wb = np.array([np.interp(reading.time_h, time_h, row) for row in moisture_wb_from_db(x)])
        return weighed_kg(run.lot_kg(), start_wb, wb)
    off = run.lot_kg() * _share_off(run, reading.time_h)
    return weighed_kg(off, start_wb, np.asarray(moisture_wb_from_db(solved.moisture_db)))


def _leaf_c(dryer: Dryer, run: DryRun, reading: StageReading, solved: Solved) -> Array:
    if not isinstance(dryer, TrayDryer):
        return solved.leaf_c
    time_h, _ = way(run, solved)
    warm = [state.leaf_c[:, :, 1:].mean(axis=1) for state in solved.zones]
    courses = np.concatenate([solved.scenarios.leaf_c[:, None], *warm], axis=1)
    return np.array([np.interp(reading.time_h, time_h, row) for row in courses])


def way(run: DryRun, solved: Solved) -> tuple[Array, Array]:
    """Time and moisture db along the way, (time,) and (scenario, time)."""
    times, x, start = [np.zeros(1)], [solved.scenarios.moisture_db[:, None]], 0.0
    for state in solved.zones:
        steps, span = state.moisture.shape[2] - 1, run.residence_h * state.zone.share
        times.append(start + span * np.arange(1, steps + 1) / steps)
        x.append(state.moisture[:, :, 1:].mean(axis=1))
        start += span
    return np.concatenate(times), np.concatenate(x, axis=1)
