"""Intake: weigh a load in, and see what came today."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf import leaf as leaves
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, entered, once
from wareleaf.web.meters import meters_for, most_cautious
from wareleaf.web.view import refused_status, show
from wareleaf.web.words import percent
from wareleaf.works.growing import harvests
from wareleaf.works.house import Works
from wareleaf.works.intakes import intakes_today
from wareleaf.works.next_stage import machines_for
from wareleaf.works.take_in import Load, take_in

router = APIRouter()


@router.get("/intake", include_in_schema=False)
def page(request: Request, made: str = "") -> Response:
    return _page(request, made=made)


@router.post("/intake", include_in_schema=False)
def take(request: Request, form: Entered = Depends(entered)) -> Response:
    try:
        return once(form, lambda: _take(request, form))
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))


def _take(request: Request, form: Entered) -> str:
    if not form.get("source"):
        form.wrong("source", "No line or field is picked; press the one the load came from.")
    measured = form.maybe_percent("moisture_wb", "Moisture")
    load = Load(
        source=form.get("source"),
        gross_kg=form.number("gross_kg", "Full weight"),
        tare_kg=form.maybe("tare_kg", "Empty weight") or 0.0,
        meter=form.get("meter"),
        moisture_wb=measured,
        moisture_meter=form.get("moisture_meter") if measured is not None else "",
        surface_water_kg=form.maybe("surface_water_kg", "Surface water") or 0.0,
        ticket_kg=form.maybe("ticket_kg", "Weight on the ticket"),
        cut_at=form.time("cut_at", "Time it was cut"),
        temperature_c=form.maybe("temperature_c", "Leaf temperature"),
        arrived_at=form.time("happened_at", "Time it arrived"),
        document=form.get("document"),
        note=form.get("note"),
        harvest=form.get("harvest"),
    )
    form.check()
    _, lot = take_in(session.works_of(request), session.person(request).id, load)
    session.remember(
        request,
        tare_kg=form.get("tare_kg"),
        intake_scale=load.meter,
        intake_meter=form.get("moisture_meter"),
    )
    return f"/intake?made={lot.lot_id}"


def _harvests(works: Works, site_id: str) -> list[tuple[str, str]]:
    """Harvests of the last two days, as a list to choose from."""
    found = harvests(works, site_id, since=works.now() - timedelta(days=2))
    return [(h.harvest_id, f"{h.harvest_id}, {h.vessel or h.source}") for h in found]


def _page(
    request: Request,
    form: Entered | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
    made: str = "",
) -> Response:
    works, site = session.works_of(request), session.site(request)
    sources = [s for s in works.settings.source if s.site == site.id]
    scales = meters_for(works, site.id, "mass_kg")
    meters = meters_for(works, site.id, "moisture_wb")
    lot = works.book.lot(made) if made else None
    context: dict[str, Any] = {
        "sources": [(s.id, s.name, leaves.profile(s.leaf).name) for s in sources],
        "usual": "; ".join(
            f"{percent(leaves.profile(i).moisture_wb_fresh, 0)} for {leaves.profile(i).name}"
            for i in dict.fromkeys(s.leaf for s in sources)
        ),
        "scales": [(m.id, m.name) for m in scales],
        "scale": session.remembered(request, "intake_scale", most_cautious(scales)),
        "meters": [(m.id, m.name) for m in meters],
        "meter": session.remembered(request, "intake_meter", most_cautious(meters)),
        "tare": session.remembered(request, "tare_kg"),
        "taken": intakes_today(works, site.id),
        "harvests": _harvests(works, site.id),
        "made": lot,
        "machines": machines_for(works, lot) if lot else [],
    }
    if form is not None:
        context["form"] = form
    shown = {"site": site.id, "taken": context["taken"], "made": lot}
    return show(request, "intake.html", context, data=shown, problems=problems, status=status)
