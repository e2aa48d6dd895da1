"""The floor as it stands: what is on which machine, when it will be there, what to do next."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState, RunState
from wareleaf.measure.errors import BadInput
from wareleaf.stages.common import StageReading
from wareleaf.stages.quality import Quality
from wareleaf.works.charge import charge_of
from wareleaf.works.following import next_from
from wareleaf.works.house import Works
from wareleaf.works.predict import (
    Prediction,
    leaf_heat,
    own_pace,
    own_rate,
    predict,
    told_by_results,
)
from wareleaf.works.runs_done import stage_readings
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class MachineView:
    """One machine with what is on it.

    Parameters
    ----------
    machine : Equipment
        From the settings.
    run : RunState or None
        None while it stands free.
    lots : tuple of LotState
        What is on it.
    prediction : Prediction or None
        From the readings so far; None when the model cannot say, see ``trouble``.
    readings : tuple of Event
        On this run, in order.
    finish_at : datetime or None
        When the leaf should come off; None when it will not get there.
    finish_sd : timedelta or None
        One standard deviation of that.
    target_wb : float or None
        Moisture the run aims at, where there is one.
    trouble : str
        Why there is no prediction.
    next_from : datetime or None
        When the next load may follow while this one is still on; None: not before it is off.
    """

    machine: Equipment
    run: RunState | None = None
    lots: tuple[LotState, ...] = ()
    prediction: Prediction | None = None
    readings: tuple[Event, ...] = ()
    finish_at: datetime | None = None
    finish_sd: timedelta | None = None
    target_wb: float | None = None
    trouble: str = ""
    next_from: datetime | None = None

    @property
    def mass_kg(self) -> float:
        """Leaf on the machine, as it went on."""
        return sum(lot.remaining_mass_g for lot in self.lots) / 1000.0


def find_run(works: Works, run_id: str) -> RunState:
    """A run by id.

    Raises
    ------
    BadInput
        When there is none.
    """
    found = works.book.runs(ids=[run_id])
    if not found:
        raise BadInput("run_id", run_id, f"There is no run {run_id} in the book.")
    return found[0]


def floor(works: Works, site_id: str) -> list[MachineView]:
    """Every machine of a site, in the order of the settings; once for each run that is on it."""
    on: dict[str, list[RunState]] = {}
    for run in sorted(
        works.book.runs(site=site_id, open_only=True), key=lambda run: run.started_at
    ):
        on.setdefault(run.equipment, []).append(run)
    views = []
    for machine in works.settings.equipment:
        if machine.site != site_id:
            continue
        mine = [_view(works, machine, run) for run in on.get(machine.id, [])]
        if mine and all(view.next_from for view in mine):
            mine[:-1] = [replace(view, next_from=None) for view in mine[:-1]]
        views += mine or [MachineView(machine)]
    return views


def run_view(works: Works, run_id: str) -> MachineView:
    """One run, open or finished, with its machine."""
    run = find_run(works, run_id)
    return _view(works, works.settings.equipment_of(run.equipment), run)


def readings_on(works: Works, run: RunState) -> tuple[Event, ...]:
    """Readings taken on a run, in the order they were taken."""
    found = works.book.events_in_force(kind="reading", since=run.started_at, site=run.site)
    mine = [e for e in found if e.facts.get("run_id") == run.run_id]
    return tuple(sorted(mine, key=lambda e: e.happened_at))


def as_stage_readings(run: RunState, readings: tuple[Event, ...]) -> tuple[StageReading, ...]:
    """Readings in the stage's own time."""
    return stage_readings(run.started_at, readings)


def target_of(machine: Equipment, run: RunState | None, lots: tuple[LotState, ...]) -> float | None:
    """Moisture that a run aims at: the operator's for a wither, the profile's for a dryer."""
    if run is None or not lots:
        return None
    if machine.stage == "wither":
        return float(run.settings.get("target_moisture_wb", 0.68))
    if machine.stage == "dry":
        return float(leaves.profile(lots[0].leaf).moisture_wb_target)
    return None


# Predictions depend only on the machine, its leaf, its settings and its readings, so a page that is
# shown again before any of these changes (a correction changes them too) need not compute again.
_KEPT: dict[Hashable, Any] = {}
_MOST_KEPT = 512
Made = TypeVar("Made")


def _once(key: Hashable, make: Callable[[], Made]) -> Made:
    if key not in _KEPT:
        if len(_KEPT) >= _MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = make()
    found: Made = _KEPT[key]
    return found


def _key(works: Works, machine: Equipment, run: RunState, lots: tuple[LotState, ...]) -> Hashable:
    charge = charge_of(lots, run.started_at)
    rate = own_rate(works, machine, charge.leaf_id, run.started_at)
    pace = own_pace(works, machine, charge.leaf_id, run.started_at)
    made_from = (charge, tuple(_settings(run).items()), run.started_at, rate, pace)
    return (works.folder, machine.id, *made_from)


def _settings(run: RunState) -> dict[str, float]:
    return {name: float(value) for name, value in run.settings.items()}


def _predicted(
    works: Works,
    machine: Equipment,
    run: RunState,
    lots: tuple[LotState, ...],
    readings: tuple[Event, ...],
) -> Prediction:
    seen = as_stage_readings(run, readings)
    told = _once(
        ("prediction", _key(works, machine, run, lots), seen),
        lambda: predict(works, machine, lots, _settings(run), run.started_at, seen),
    )
    # Results come in while a run goes on, so what they say is not kept with it.
    return told_by_results(works, machine, lots, _settings(run), run.started_at, told)


def heat_of(works: Works, view: MachineView) -> Quality | None:
    """What the heat of a running dryer does to its leaf, as set and read; None if unknown."""
    run, machine, lots = view.run, view.machine, view.lots
    if run is None or view.prediction is None:
        return None
    seen = as_stage_readings(run, view.readings)
    return _once(
        ("heat", _key(works, machine, run, lots), seen),
        lambda: leaf_heat(works, machine, lots, _settings(run), run.started_at, seen),
    )


def _view(works: Works, machine: Equipment, run: RunState) -> MachineView:
    lots = tuple(sorted(works.book.lots(ids=run.lots), key=lambda lot: lot.lot_id))
    readings = readings_on(works, run)
    target = target_of(machine, run, lots)
    if run.finished_at is not None:
        return MachineView(machine, run, lots, readings=readings, target_wb=target)
    following = next_from(machine, run, lots)
    try:
        prediction = _predicted(works, machine, run, lots, readings)
    except BadInput as error:
        return MachineView(
            machine,
            run,
            lots,
            readings=readings,
            target_wb=target,
            trouble=str(error),
            next_from=following,
        )
    finish, sd = None, None
    if math.isfinite(prediction.duration_h) and math.isfinite(prediction.duration_sd_h):
        finish = run.started_at + timedelta(hours=prediction.duration_h)
        sd = timedelta(hours=prediction.duration_sd_h)
    return MachineView(
        machine, run, lots, prediction, readings, finish, sd, target, next_from=following
    )
