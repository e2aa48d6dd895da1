"""Floor: put leaf on a machine, with a look ahead before it goes on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import charts, session
from wareleaf.web.as_json import wants_json
from wareleaf.web.cautions import CAUTIONS
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.web.words import typed
from wareleaf.works.controls import controls_of, full_settings
from wareleaf.works.floor import run_view
from wareleaf.works.following import open_runs_on
from wareleaf.works.next_stage import candidates
from wareleaf.works.predict import aim, leaf_heat, look_ahead
from wareleaf.works.run_stage import start_run
from wareleaf.works.settings import Equipment

router = APIRouter()


@router.get("/floor/load/{machine_id}", include_in_schema=False)
def load_page(request: Request, machine_id: str, form: Entered = Depends(asked)) -> Response:
    return _load_page(request, machine_id, form)


@router.post("/floor/load/{machine_id}", include_in_schema=False)
def load(request: Request, machine_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)
    machine = works.settings.equipment_of(machine_id)

    def do() -> str:
        settings = _settings(machine, form)
        at = form.time("happened_at", "When it started")
        form.check()
        run_id = start_run(
            works,
            session.person(request).id,
            machine.id,
            form.all("lot_ids"),
            settings,
            happened_at=at,
            document=form.get("document"),
            note=form.get("note"),
        )
        session.say(request, f"{machine.name} is running.")
        return f"/floor/run/{run_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _load_page(request, machine_id, form, error.problems, refused_status(error))


def _settings(machine: Equipment, form: Entered) -> dict[str, float]:
    """Settings as typed in the units of people, in the units of the stage model."""
    found = {}
    for control in controls_of(machine):
        value = form.maybe(control.name, control.label, control.shown_per)
        if value is not None:
            found[control.name] = value
    return found


def _load_page(
    request: Request,
    machine_id: str,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    machine = works.settings.equipment_of(machine_id)
    session.look_at(request, machine.site)
    runs = open_runs_on(works, machine)
    there = run_view(works, runs[-1].run_id) if runs else None
    full = there is not None and there.next_from is None
    if full and not problems and not wants_json(request):
        return RedirectResponse(f"/floor/run/{runs[-1].run_id}", status_code=303)
    found = candidates(works, machine)
    controls = controls_of(machine)
    running = runs[-1].settings if runs else {}
    context: dict[str, Any] = {
        "machine": machine,
        "fitting": [c for c in found if c.fits],
        "others": [c for c in found if not c.fits],
        "controls": controls,
        "start": {
            c.name: typed(float(running.get(c.name, c.start)) * c.shown_per) for c in controls
        },
        "there": there if there and there.next_from else None,
        "cautions": CAUTIONS[machine.stage],
        "form": form,
        "ahead": None,
        "heat": None,
        "found": None,
    }
    if form.get("do") and not problems:
        try:
            _look(request, machine, form, context)
        except BadInput as error:
            problems, status = error.problems, 422
    keys = ("machine", "controls", "fitting", "others", "ahead", "heat", "found")
    data = {k: context[k] for k in keys}
    return show(request, "load.html", context, data=data, problems=problems, status=status)


def _look(request: Request, machine: Equipment, form: Entered, context: dict[str, Any]) -> None:
    """Look ahead at the ticked lots; with ``aim``, at the settings that land them on target."""
    works = session.works_of(request)
    settings = _settings(machine, form)
    if not form.all("lot_ids"):
        form.wrong("lot_ids", "No lot is ticked; tick what goes on.")
    form.check()
    lots = [works.book.lot(lot_id) for lot_id in form.all("lot_ids")]
    leaves = {lot.leaf for lot in lots}
    if len(leaves) > 1:
        raise BadInput("lot_ids", None, "A run takes one kind of leaf; untick the others.")
    now = works.now()
    if form.get("do") == "aim":
        found, reason, reached = aim(works, machine, lots, settings, now)
        for control in context["controls"]:
            if control.name in found:
                settings[control.name] = found[control.name]
                form.values[control.name] = [typed(found[control.name] * control.shown_per)]
        context["found"] = {"reason": reason, "reached": reached, "settings": settings}
    seen = look_ahead(works, machine, lots, full_settings(machine, settings), now)
    context["ahead"] = seen
    context["heat"] = leaf_heat(works, machine, lots, full_settings(machine, settings), now)
    context["off_at"] = now + timedelta(hours=seen.duration_h)
    if seen.curve_time_h and machine.stage == "wither":
        context["picture"] = charts.run_chart(
            now,
            seen.curve_time_h,
            seen.curve_moisture_wb,
            seen.curve_low,
            seen.curve_high,
            target_wb=settings.get("target_moisture_wb"),
            until_h=1.3 * seen.duration_h,
            width=350,
            height=230,
        )
