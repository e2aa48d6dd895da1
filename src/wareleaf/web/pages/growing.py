"""Harvest and site work: what happens on the lines and fields before a load is at the door."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf import leaf as leaves
from wareleaf.book.kind_facts import COOLING_METHODS
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.works.cool import cool
from wareleaf.works.growing import harvests, record_harvest, record_site_work, works_done
from wareleaf.works.house import Works

router = APIRouter()

PARTS = ("harvest", "work", "cool")
SHOWN = timedelta(days=14)


@router.get("/intake/growing", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form)


def _page(
    request: Request, form: Entered, problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    works, site = session.works_of(request), session.site(request)
    sources = [s for s in works.settings.source if s.site == site.id]
    cut = harvests(works, site.id, since=works.now() - SHOWN)
    context: dict[str, Any] = {
        "part": form.get("part") if form.get("part") in PARTS else PARTS[0],
        "sources": [(s.id, s.name, leaves.profile(s.leaf).name) for s in sources],
        "source_name": {s.id: s.name for s in sources},
        "harvests": cut,
        "harvest_picks": [(h.harvest_id, h.harvest_id, h.vessel or h.source) for h in cut[:8]],
        "works_done": works_done(works, site.id),
        "methods": [(m, m) for m in COOLING_METHODS],
        "form": form,
        "path": "/intake",
    }
    data = {"harvests": cut, "site_work": context["works_done"]}
    return show(request, "growing.html", context, data=data, problems=problems, status=status)


def _harvest(works: Works, who: str, form: Entered) -> str:
    kg = form.number("estimated_kg", "About how much")
    cut_at = form.time("cut_at", "Time it was cut")
    form.check()
    made = record_harvest(
        works,
        who,
        form.get("source"),
        kg,
        harvest_id=form.get("harvest_id"),
        cut_at=cut_at,
        vessel=form.get("vessel"),
        people=form.get("people").split(","),
        document=form.get("document"),
        note=form.get("note"),
    )
    local = made.cut_at.astimezone(works.settings.zone)
    held = [f" Its loads will be held: {w.sentence(local)}." for w in made.waits]
    return f"Harvest {made.harvest_id} is in the book." + "".join(held)


def _work(works: Works, who: str, form: Entered) -> str:
    work = form.text("work", "What was done")
    days = form.maybe("interval_days", "Waiting interval")
    at = form.time("happened_at", "When")
    form.check()
    _, held = record_site_work(
        works,
        who,
        form.get("source"),
        work,
        substance=form.get("substance"),
        dose=form.get("dose"),
        interval_days=days,
        happened_at=at,
        document=form.get("document"),
        note=form.get("note"),
    )
    said = f"{work} is in the book."
    return said + (f" On hold now, cut too early: {', '.join(held)}." if held else "")


def _cool(works: Works, who: str, form: Entered) -> str:
    harvest = form.text("harvest_id", "Harvest")
    at_c = form.number("temperature_c", "Temperature")
    began, until = form.time("began", "From"), form.time("until", "Until")
    form.check()
    cool(
        works,
        who,
        [],
        form.get("method"),
        at_c,
        began=began,
        until=until,
        harvest_id=harvest,
        place=form.get("place"),
    )
    return f"The cooling of harvest {harvest} is in the book."


ACTS: dict[str, Callable[[Works, str, Entered], str]] = {
    "harvest": _harvest,
    "work": _work,
    "cool": _cool,
}


@router.post("/intake/growing", include_in_schema=False)
def enter(request: Request, form: Entered = Depends(entered)) -> Response:
    works, who, part = session.works_of(request), session.person(request).id, form.get("part")

    def do() -> str:
        if part not in ACTS:
            raise BadInput("part", part, f"There is nothing called {part!r} to record here.")
        if part != "cool" and not form.get("source"):
            form.wrong("source", "No line or field is picked; press the one it was on.")
        session.say(request, ACTS[part](works, who, form))
        return f"/intake/growing?part={part}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))
