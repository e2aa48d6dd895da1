"""Predictions for the floor: what a run will give, and settings that land it on target.

One module a family of machines; each turns settings and lots into what its stage model wants and
the model's answer into a `Prediction`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from wareleaf.book import LotState
from wareleaf.stages import dry
from wareleaf.stages.common import StageReading
from wareleaf.stages.quality import Quality
from wareleaf.works.charge import Charge, charge_of
from wareleaf.works.controls import full_settings
from wareleaf.works.house import Works
from wareleaf.works.machines import dryer_of
from wareleaf.works.predict import baths, dryers, sizing, tea, troughs
from wareleaf.works.predict.base import OUT_FORM, Ask, Prediction
from wareleaf.works.predict.own_pace import PACED, own_pace, paced
from wareleaf.works.predict.own_rate import own_rate
from wareleaf.works.settings import Equipment

__all__ = [
    "OUT_FORM",
    "Charge",
    "Prediction",
    "aim",
    "aim_charge",
    "dryer_run",
    "leaf_heat",
    "look_ahead",
    "out_leaf",
    "own_pace",
    "own_rate",
    "predict",
    "predict_charge",
    "told_by_results",
]

_PREDICT: Mapping[str, Callable[[Ask], Prediction]] = {
    **PACED,
    "wither": troughs.predict,
    "oxidise": tea.predict_oxidise,
    "dry": dryers.predict,
    "pack": sizing.predict_pack,
}

_AIM: Mapping[str, Callable[[Ask], tuple[dict[str, float], str, bool]]] = {
    "blanch": baths.aim_blanch,
    "wither": troughs.aim,
    "oxidise": tea.aim_oxidise,
    "dry": dryers.aim,
}


def _ask(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
    readings: Sequence[StageReading],
) -> Ask:
    ask = _of_charge(works, machine, charge_of(lots, start), settings, start, readings)
    return replace(ask, lots={lot.lot_id: float(lot.remaining_dry_g) for lot in lots})


def _of_charge(
    works: Works,
    machine: Equipment,
    charge: Charge,
    settings: Mapping[str, float],
    start: datetime,
    readings: Sequence[StageReading] = (),
) -> Ask:
    return Ask(
        works=works,
        machine=machine,
        charge=charge,
        settings=full_settings(machine, settings),
        start=start,
        readings=tuple(readings),
        rate=own_rate(works, machine, charge.leaf_id, start),
        pace=own_pace(works, machine, charge.leaf_id, start),
    )


def predict(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
    readings: Sequence[StageReading] = (),
    *,
    advise: bool = True,
) -> Prediction:
    """Predict a run of lots on a machine; without ``advise`` what nobody is going to read is empty.

    Raises
    ------
    BadInput
        For settings out of range, leaf the stage does not know, or a load that does not fit.
    """
    ask = _ask(works, machine, lots, settings, start, readings)
    return _predicted(replace(ask, advise=advise))


def look_ahead(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
    readings: Sequence[StageReading] = (),
) -> Prediction:
    """As `predict`, for people: with what results so far say of the leaf and of this machine.

    Kept apart from `predict`: what the book keeps of a forecast is the stage model's own word, from
    which later results learn.

    Raises
    ------
    BadInput
        As `predict`.
    """
    ask = _ask(works, machine, lots, settings, start, readings)
    return _by_results(ask, _predicted(ask))


def told_by_results(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
    told: Prediction,
) -> Prediction:
    """A forecast that was made before, with what results so far say of leaf and machine."""
    return _by_results(_ask(works, machine, lots, settings, start, ()), told)


def _by_results(ask: Ask, told: Prediction) -> Prediction:
    """Add what results say; only a bath has something to add."""
    return baths.with_iodine(ask, told) if ask.machine.stage == "blanch" else told


def leaf_heat(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
    readings: Sequence[StageReading] = (),
) -> Quality | None:
    """What the heat of a dryer's run does to the lots at these settings; None on other machines.

    Readings on the run correct the lot's rate and its feed moisture. Kept apart from `predict`,
    which the plan calls by the hundred.
    """
    if machine.stage != "dry":
        return None
    return dryers.leaf_heat(_ask(works, machine, lots, settings, start, readings))


def predict_charge(
    works: Works,
    machine: Equipment,
    charge: Charge,
    settings: Mapping[str, float],
    start: datetime,
) -> Prediction:
    """Predict leaf that is not in the book yet, or not in this form: what the plan asks for.

    It holds no advice of better settings for a dryer: a plan reads none.

    Raises
    ------
    BadInput
        As `predict`.
    """
    ask = _of_charge(works, machine, charge, settings, start)
    return _predicted(replace(ask, advise=False))


def _predicted(ask: Ask) -> Prediction:
    """What the stage's model says, in the works' own hours."""
    return paced(_PREDICT[ask.machine.stage](ask), ask)


def aim_charge(
    works: Works,
    machine: Equipment,
    charge: Charge,
    settings: Mapping[str, float],
    start: datetime,
) -> tuple[dict[str, float], str, bool]:
    """As `aim`, for leaf that is not in the book yet."""
    find = _AIM.get(machine.stage)
    if find is None:
        return full_settings(machine, settings), "This stage has no target to aim at.", True
    return find(_of_charge(works, machine, charge, settings, start))


def aim(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
) -> tuple[dict[str, float], str, bool]:
    """Settings that land the lots on target, a sentence, and whether they can be reached.

    A stage without a target keeps its settings.
    """
    find = _AIM.get(machine.stage)
    if find is None:
        return full_settings(machine, settings), "This stage has no target to aim at.", True
    return find(_ask(works, machine, lots, settings, start, ()))


def dryer_run(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    start: datetime,
) -> tuple[dry.Dryer, dry.DryRun]:
    """The dryer and the run that a prediction of these lots computes.

    Raises
    ------
    BadInput
        For a machine that is no dryer, and as `predict`.
    """
    dryer = dryer_of(machine, full_settings(machine, settings))
    return dryer, dryers.dry_run_of(_ask(works, machine, lots, settings, start, ()))


def out_leaf(stage: str, leaf_id: str) -> str:
    """Leaf profile after a stage: the bath turns raw kelp into blanched kelp."""
    if stage == "blanch" and leaf_id == "sugar_kelp_raw":
        return "sugar_kelp_blanched"
    return leaf_id
