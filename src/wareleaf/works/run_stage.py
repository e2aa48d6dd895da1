"""Run a stage: put lots on a machine, take readings, take the leaf off and weigh it.

A run starts with one event and ends with one. Between the two, readings are events of their own.
At the end water closes the mass, and what dry matter does not account for stays visible.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wareleaf.book import Draw, Event, LotState, Made, RunState, Stream
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.controls import full_settings
from wareleaf.works.floor import find_run
from wareleaf.works.following import check_room
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.predict import OUT_FORM, Prediction, out_leaf, predict
from wareleaf.works.record import (
    Entry,
    draw,
    dry_sd_kg,
    new_lot_id,
    new_token,
    record,
    refuse_loose,
)
from wareleaf.works.settings import PERCENT, Equipment
from wareleaf.works.touching import touch_of


@dataclass(frozen=True)
class Off:
    """One lot that came off a machine.

    Parameters
    ----------
    mass_kg : float
        As weighed.
    moisture_wb : float
        As measured.
    moisture_meter, scale : str
        What measured them.
    form : str
        Form of the leaf; the stage's usual one when empty.
    place, label : str
        Where it went and what people call it.
    attributes : mapping
        Grade, product and so on.
    """

    mass_kg: float
    moisture_wb: float
    moisture_meter: str
    scale: str
    form: str = ""
    place: str = "store"
    label: str = ""
    attributes: Mapping[str, Any] | None = None


def start_run(
    works: Works,
    who: str,
    equipment_id: str,
    lot_ids: Sequence[str],
    settings: Mapping[str, float] | None = None,
    *,
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> str:
    """Put lots on a machine and start. Returns the run's id.

    The prediction that the operator saw is kept with the event, so that it can be held against
    what came.

    Raises
    ------
    BadInput
        For a machine without room, lots of different leaf, settings the machine does not have, or
        a load the machine cannot take.
    """
    machine = works.settings.equipment_of(equipment_id)
    acting(works, who, "run a stage", machine.site)
    lots = _lots_to_run(works, machine, lot_ids)
    at = happened_at or works.now()
    chosen = full_settings(machine, settings or {})
    check_room(works, machine, lots, chosen, at)
    forecast = predict(works, machine, lots, chosen, at, advise=False)
    run_id = f"R-{new_token(4)}"
    facts = {
        "run_id": run_id,
        "stage": machine.stage,
        "equipment": machine.id,
        "settings": chosen,
        "lots": [lot.lot_id for lot in lots],
        "predicted": _kept(forecast),
    }
    touch = touch_of(works, machine, lots, chosen, at)
    if touch is not None:
        facts["touch"] = touch
    record(
        works,
        Entry(
            kind="stage_started",
            site=machine.site,
            who=who,
            place=machine.id,
            why=note,
            document=document,
            happened_at=at,
            facts=facts,
        ),
    )
    return run_id


def _kept(forecast: Prediction) -> dict[str, Any]:
    """The prediction as facts; what the model cannot say (a wither that never ends) is None."""
    names = (
        "duration_h",
        "duration_sd_h",
        "mass_out_kg",
        "moisture_wb_out",
        "moisture_wb_out_sd",
        "heat_kwh",
        "electricity_kwh",
        "fuel_kg",
        "leaf_temperature_max_c",
    )
    values = {name: getattr(forecast, name) for name in names}
    values |= {name: forecast.detail[name] for name in ("iodine_kept",) if name in forecast.detail}
    kept: dict[str, Any] = {
        name: None if value is None or not math.isfinite(value) else float(value)
        for name, value in values.items()
    }
    if forecast.theaflavin_course:  # minutes, theaflavin and its standard deviation
        kept["theaflavin_course"] = [list(row) for row in forecast.theaflavin_course]
    return kept


def _lots_to_run(works: Works, machine: Equipment, lot_ids: Sequence[str]) -> list[LotState]:
    require(bool(lot_ids), "lot_ids", [], "Choose at least one lot to put on.")
    lots = [works.book.lot(lot_id) for lot_id in dict.fromkeys(lot_ids)]
    refuse_loose(works, lot_ids, {})
    for lot in lots:
        if lot.site != machine.site:
            raise BadInput(
                "lot_ids", lot.lot_id, f"{lot.lot_id} lies at another site than {machine.name}."
            )
        if lot.remaining_mass_g == 0:
            raise BadInput("lot_ids", lot.lot_id, f"Nothing is left of {lot.lot_id}.")
        if lot.on_runs:
            raise BadInput("lot_ids", lot.lot_id, f"{lot.lot_id} is on a machine already.")
    leaves = {lot.leaf for lot in lots}
    if len(leaves) > 1:
        raise BadInput(
            "lot_ids",
            list(lot_ids),
            f"A run takes one kind of leaf; these are {', '.join(sorted(leaves))}.",
        )
    return lots


def record_reading(
    works: Works,
    who: str,
    *,
    run_id: str = "",
    lot_id: str = "",
    meter: str,
    value: float,
    at: datetime | None = None,
    reference_value: float | None = None,
    document: str = "",
    note: str = "",
) -> Event:
    """Record one reading on a run or a lot, with the uncertainty of its meter.

    ``reference_value`` is what a reference (the oven) found on the same leaf, when it was tried;
    the pair is what shows a drifting meter.
    """
    instrument = works.settings.meter_of(meter)
    acting(works, who, "record a reading", instrument.site)
    _possible(instrument.quantity, value)
    place, site = "", instrument.site
    if run_id:
        run = find_run(works, run_id)
        place, site = run.equipment, run.site
    elif lot_id:
        lot = works.book.lot(lot_id)
        place, site = lot.place, lot.site
    works.settings.meter_at(site, meter, instrument.quantity)
    facts: dict[str, Any] = {
        "quantity": instrument.quantity,
        "value": value,
        "standard_uncertainty": instrument.sd(value),
        "unit": UNITS[instrument.quantity],
        "method": meter,
    }
    if run_id:
        facts["run_id"] = run_id
    if lot_id:
        facts["lot_id"] = lot_id
    if reference_value is not None:
        _possible(instrument.quantity, reference_value)
        facts["reference_value"] = reference_value
    return record(
        works,
        Entry(
            kind="reading",
            site=site,
            who=who,
            place=place,
            why=note,
            document=document,
            happened_at=at,
            facts=facts,
        ),
    )


UNITS = {
    "mass_kg": "kg",
    "moisture_wb": "fraction wb",
    "temperature_c": "degC",
    "relative_humidity": "fraction",
    "net_g": "g",
    "theaflavin_fraction": "fraction of infusion solids",
    "colour_index": "of the meter",
}

_RANGE = {
    "mass_kg": (0.0, 1e6),
    "moisture_wb": (0.0, 0.99),
    "temperature_c": (-40.0, 250.0),
    "relative_humidity": (0.0, 1.0),
    "net_g": (0.0, 1e6),
    "theaflavin_fraction": (0.0, 0.1),
    "colour_index": (-1e4, 1e4),
}


def _possible(quantity: str, value: float) -> None:
    low, high = _RANGE[quantity]
    if not low <= value <= high:
        percent = quantity in PERCENT
        shown = f"{value * 100:g} %" if percent else f"{value:g} {UNITS[quantity]}"
        span = f"{low * 100:g} to {high * 100:g} %" if percent else f"{low:g} to {high:g}"
        raise BadInput(quantity, value, f"{quantity} is {shown}; it must be from {span}.")


def finish_run(
    works: Works,
    who: str,
    run_id: str,
    off: Sequence[Off],
    *,
    streams: Sequence[Stream] = (),
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> list[LotState]:
    """Take the leaf off, weigh it, and make its new lots.

    Dry matter that a bath leached is booked as predicted unless a ``leached`` stream is given.

    Raises
    ------
    BadInput
        For a run that is not open, nothing weighed, or impossible weights or moistures.
    """
    run = find_run(works, run_id)
    acting(works, who, "run a stage", run.site)
    if run.finished_at is not None:
        raise BadInput("run_id", run_id, f"Run {run_id} was finished already.")
    require(bool(off), "off", [], "Weigh at least one lot off the machine.")
    machine = works.settings.equipment_of(run.equipment)
    lots = [works.book.lot(lot_id) for lot_id in run.lots]
    draws = tuple(draw(lot) for lot in lots)
    at = happened_at or works.now()
    made = tuple(_made(works, machine, lots[0], each, at) for each in off)
    named = list(streams)
    if machine.stage == "blanch" and not any(s.name == "leached" for s in named):
        named.extend(_leached(works, run, machine, lots))
    named.append(_water(draws, made, named))
    record(
        works,
        Entry(
            kind="stage_finished",
            site=run.site,
            who=who,
            place=run.equipment,
            why=note,
            document=document,
            happened_at=at,
            inputs=draws,
            outputs=made,
            streams=tuple(named),
            facts={"run_id": run_id, "stage": machine.stage, "equipment": machine.id},
        ),
    )
    return [works.book.lot(m.lot_id) for m in made]


def _made(works: Works, machine: Equipment, first: LotState, off: Off, at: datetime) -> Made:
    if not off.mass_kg > 0.0:
        raise BadInput("mass_kg", off.mass_kg, f"mass_kg is {off.mass_kg:g}; it must be above 0.")
    _possible("moisture_wb", off.moisture_wb)
    scale = works.settings.meter_at(machine.site, off.scale, "mass_kg", "scale")
    moisture_meter = works.settings.meter_at(
        machine.site, off.moisture_meter, "moisture_wb", "moisture_meter"
    )
    mass_sd, moisture_sd = scale.sd(off.mass_kg), moisture_meter.sd(off.moisture_wb)
    names = ("source", "product", "cut_at") if machine.stage == "wash" else ("source", "product")
    kept = {k: v for k, v in first.attributes.items() if k in names}  # a wash makes no leaf younger
    return Made(
        lot_id=new_lot_id(works, machine.site, at),
        leaf=out_leaf(machine.stage, first.leaf),
        form=off.form or OUT_FORM[machine.stage],
        place=off.place,
        mass_g=round(off.mass_kg * 1000.0),
        dry_g=round(off.mass_kg * 1000.0 * (1.0 - off.moisture_wb)),
        mass_sd_g=mass_sd * 1000.0,
        dry_sd_g=dry_sd_kg(off.mass_kg, mass_sd, off.moisture_wb, moisture_sd) * 1000.0,
        label=off.label or first.label,
        attributes={
            **kept,
            **(off.attributes or {}),
            "moisture_meter": off.moisture_meter,
            "scale": off.scale,
        },
    )


def _leached(works: Works, run: RunState, machine: Equipment, lots: list[LotState]) -> list[Stream]:
    settings, start = dict(run.settings), run.started_at
    forecast = predict(works, machine, lots, settings, start, advise=False)
    dry_g = round(forecast.leached_dry_kg * 1000.0)
    # In sea water the leaf takes up salt: a gain that was added, not a loss.
    name = "leached" if dry_g > 0 else "added"
    return [Stream(name, dry_g, dry_g)] if dry_g else []


def _water(draws: Sequence[Draw], made: Sequence[Made], streams: Sequence[Stream]) -> Stream:
    """The water that left (or came in): what closes water, not dry matter, to the gram."""

    def water(parts: Sequence[Draw | Made | Stream]) -> int:
        return sum(p.mass_g - p.dry_g for p in parts)

    return Stream("water", water(draws) - water(made) - water(streams), 0)
