"""Floor: what is on which machine; follow a run, take it off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import charts, session
from wareleaf.web.cautions import CAUTIONS
from wareleaf.web.forms import Entered, entered, once
from wareleaf.web.meters import meters_for, most_cautious
from wareleaf.web.view import refused_status, show
from wareleaf.works.controls import controls_of
from wareleaf.works.floor import MachineView, floor, heat_of, run_view
from wareleaf.works.house import Works
from wareleaf.works.leaf_now import leaf_now
from wareleaf.works.next_stage import machines_for
from wareleaf.works.predict import OUT_FORM
from wareleaf.works.run_stage import UNITS, Off, finish_run, record_reading
from wareleaf.works.runs_done import OF_THE_LEAF
from wareleaf.works.settings import PERCENT, Meter
from wareleaf.works.weighed_off import does_not_fit

router = APIRouter()

ROWS_OFF = 4


@router.get("/floor", include_in_schema=False)
def machines(request: Request, lot: str = "") -> Response:
    works, site = session.works_of(request), session.site(request)
    chosen = works.book.lot(lot) if lot else None
    views = floor(works, site.id)
    now = works.now()
    context = {
        "views": views,
        "leaf": {v.run.run_id: leaf_now(v, now) for v in views if v.run},
        "lot": chosen,
        "fits": [m.id for m in machines_for(works, chosen)] if chosen else [],
    }
    return show(request, "floor.html", context, data={"machines": views, "lot": chosen})


@router.get("/floor/run/{run_id}", include_in_schema=False)
def run_page(request: Request, run_id: str) -> Response:
    return _run_page(request, run_id)


def _run_page(
    request: Request,
    run_id: str,
    form: Entered | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
    opened: str = "",
) -> Response:
    works = session.works_of(request)
    view = run_view(works, run_id)
    run = view.run
    assert run is not None
    now = works.now()
    site = view.machine.site
    session.look_at(request, site)
    scales = meters_for(works, site, "mass_kg")
    moisture = meters_for(works, site, "moisture_wb")
    context: dict[str, Any] = {
        "view": view,
        "run": run,
        "leaf": leaf_now(view, now),
        "heat": heat_of(works, view),
        "picture": _chart(request, view),
        "controls": controls_of(view.machine),
        "cautions": CAUTIONS[view.machine.stage],
        "meters": (meters := _meters(works, view)),
        "reading_meter": _first_meter(request, meters),
        "scales": scales,
        "moisture_meters": moisture,
        "scale": session.remembered(request, "off_scale", scales[-1].id if scales else ""),
        "off_meter": session.remembered(request, "off_meter", most_cautious(moisture)),
        "rows": range(1, ROWS_OFF + 1),
        "out_form": OUT_FORM[view.machine.stage],
        "made": _made(request, view),
        "meter_name": {m.id: m.name for m in works.settings.meter},
        "percent_quantities": PERCENT,
        "opened": opened,
    }
    if form is not None:
        context["form"] = form
    data = {"run": view, "made": context["made"]}
    data |= {"leaf_now": context["leaf"], "heat": context["heat"]}
    return show(request, "run.html", context, data=data, problems=problems, status=status)


def _meters(works: Works, view: MachineView) -> list[Meter]:
    """Meters that mean something on the run; of one that is over, only samples are still read."""
    run, site = view.run, view.machine.site
    assert run is not None
    of_leaf = [q for q in OF_THE_LEAF if view.machine.stage == "oxidise"]
    if run.finished_at is not None:
        return [m for m in works.settings.meter if m.site == site and m.quantity in of_leaf]
    others = {"net_g", *OF_THE_LEAF} - set(of_leaf)
    return [m for m in works.settings.meter if m.site == site and m.quantity not in others]


def _first_meter(request: Request, meters: Sequence[Meter]) -> str:
    """The meter used last, where it is one of these."""
    wet = [m for m in meters if m.quantity == "moisture_wb"]
    usual = most_cautious(wet or meters)
    last = session.remembered(request, "run_meter", usual)
    return last if last in {m.id for m in meters} else usual


def _made(request: Request, view: Any) -> list[Any]:
    """What came off a finished run."""
    if not view.run.finished_by:
        return []
    works = session.works_of(request)
    row = works.book.event(view.run.finished_by)
    if row.superseded_by:
        row = works.book.event(row.superseded_by)
    return works.book.lots(ids=[m.lot_id for m in row.event.outputs])


def _chart(request: Request, view: Any) -> Any:
    seen = view.prediction
    if seen is None or not seen.curve_time_h or view.machine.stage != "wither":
        return None
    works = session.works_of(request)
    readings = [
        (e.happened_at, float(e.facts["value"]), float(e.facts["standard_uncertainty"]))
        for e in view.readings
        if e.facts["quantity"] == "moisture_wb"
    ]
    return charts.run_chart(
        view.run.started_at.astimezone(works.settings.zone),
        seen.curve_time_h,
        seen.curve_moisture_wb,
        seen.curve_low,
        seen.curve_high,
        readings=readings,
        target_wb=view.target_wb,
        now=works.now(),
        until_h=max(
            1.3 * seen.duration_h,
            (works.now() - view.run.started_at).total_seconds() / 3600.0 + 1.0,
        ),
    )


def _typed_value(form: Entered, meter: Meter, name: str, label: str) -> float:
    if meter.quantity == "theaflavin_fraction":
        return form.number(name, label, 100.0)  # under 1 % is the usual, not a slip
    if meter.in_percent:
        return form.percent(name, label)
    return form.number(name, label)


@router.post("/floor/run/{run_id}/reading", include_in_schema=False)
def reading(request: Request, run_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        meter = works.settings.meter_of(form.get("meter"))
        value = _typed_value(form, meter, "value", "Reading")
        reference = None
        if form.get("reference_value"):
            reference = _typed_value(form, meter, "reference_value", "What the reference found")
        at = form.time("happened_at", "Time")
        form.check()
        record_reading(
            works,
            session.person(request).id,
            run_id=run_id,
            meter=meter.id,
            value=value,
            at=at,
            reference_value=reference,
            document=form.get("document"),
            note=form.get("note"),
        )
        session.remember(request, run_meter=meter.id)
        session.say(request, f"Reading kept: {meter.name} {form.get('value')} {_unit(meter)}.")
        return f"/floor/run/{run_id}"

    try:
        return once(form, do)
    except BadInput as error:
        status = refused_status(error)
        return _run_page(request, run_id, form, error.problems, status, "reading")


def _unit(meter: Meter) -> str:
    return "%" if meter.in_percent else UNITS[meter.quantity].replace("degC", "°C")


@router.post("/floor/run/{run_id}/off", include_in_schema=False)
def take_off(request: Request, run_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        rows = [n for n in range(1, ROWS_OFF + 1) if n == 1 or form.get(f"mass_kg_{n}")]
        off = [
            Off(
                mass_kg=form.number(f"mass_kg_{n}", "Weight"),
                moisture_wb=form.percent(f"moisture_wb_{n}", "Moisture"),
                moisture_meter=form.get("moisture_meter"),
                scale=form.get("scale"),
                form=form.get(f"form_{n}"),
                place=form.get("place") or "store",
                label=form.get(f"label_{n}"),
                attributes={"grade": form.get(f"grade_{n}")} if form.get(f"grade_{n}") else None,
            )
            for n in rows
        ]
        at = form.time("off_at", "When it came off")
        form.check()
        made = finish_run(
            works,
            session.person(request).id,
            run_id,
            off,
            happened_at=at,
            document=form.get("off_document"),
            note=form.get("note"),
        )
        session.remember(request, off_scale=form.get("scale"), off_meter=form.get("moisture_meter"))
        names = ", ".join(lot.lot_id for lot in made)
        wrong = does_not_fit(works, run_id)
        session.say(request, f"Taken off. Write on the bins: {names}. {wrong}".strip())
        return f"/floor/run/{run_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _run_page(request, run_id, form, error.problems, refused_status(error), "off")
