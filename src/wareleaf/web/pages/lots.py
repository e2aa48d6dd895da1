"""Lots: find one, see all of it, and handle it between stages."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.book.kind_facts import COOLING_METHODS, GRADED_BY
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.store import RecordedEvent
from wareleaf.web import lot_acts, session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.meters import meters_for
from wareleaf.web.trace_graph import trace_graph
from wareleaf.web.view import refused_status, show
from wareleaf.web.words import pairs
from wareleaf.works import bench, handle_lot
from wareleaf.works.find_lots import find_lots
from wareleaf.works.house import Works
from wareleaf.works.lot_history import lot_history
from wareleaf.works.lot_papers import can_exchange, seal_cover
from wareleaf.works.properties import lot_properties, risks
from wareleaf.works.trace_lot import trace

router = APIRouter()

STATUSES = ("open", "on_stage", "held", "released", "used", "shipped")


@router.get("/lots", include_in_schema=False)
def listing(request: Request, form: Entered = Depends(asked)) -> Response:
    works = session.works_of(request)
    found = find_lots(
        works,
        session.site(request).id,
        text=form.get("q"),
        form=form.get("form"),
        leaf=form.get("leaf"),
        status=form.get("status"),
        in_stock_only=not form.get("all"),
    )
    if found.exact and request.query_params.get("format") != "json":
        return RedirectResponse(f"/lots/{found.exact}", status_code=303)
    if found.pallet and request.query_params.get("format") != "json":
        return RedirectResponse(f"/pallets/{found.pallet}", status_code=303)
    context = {"found": found, "statuses": STATUSES, "form": form}
    return show(request, "lots.html", context, data=found)


@router.get("/lots/{lot_id}", include_in_schema=False)
def one(request: Request, lot_id: str) -> Response:
    return _one(request, lot_id)


def _one(
    request: Request,
    lot_id: str,
    form: Entered | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
    opened: str = "",
) -> Response:
    works = session.works_of(request)
    view = trace(works, lot_id)
    history = lot_history(works, lot_id, view)
    lot = history.lot
    session.look_at(request, lot.site)
    like = [
        each
        for each in works.book.lots(site=lot.site, form=lot.form, leaf=lot.leaf, in_stock_only=True)
        if each.lot_id != lot_id and not each.on_runs
    ]
    context: dict[str, Any] = {
        "history": history,
        "lot": lot,
        "like": like,
        "scales": meters_for(works, lot.site, "mass_kg"),
        "entries": _beside(history.events),
        "sequence_of": {r.event.event_id: r.sequence for r in history.events},
        "has_dossier": importlib.util.find_spec("wareleaf.reports.dossier") is not None,
        "machine_name": {m.id: m.name for m in works.settings.equipment},
        "opened": opened,
        "picture": trace_graph(view, page="/lots/", short=True),
        "whole_trace": len(view.lots),
        "cover": seal_cover(works, lot.made_by, history.events),
        "can_exchange": can_exchange(works),
        "customer_name": {c.id: c.name for c in works.settings.customer},
        "graded_by": pairs(GRADED_BY),
        "cooling_methods": pairs(COOLING_METHODS),
        "rework_forms": lot_acts.FORMS,
    }
    if form is not None:
        context["form"] = form
    return show(request, "lot.html", context, data=history, problems=problems, status=status)


def _beside(events: Sequence[RecordedEvent]) -> list[RecordedEvent]:
    """Newest first, what was corrected right under what corrects it."""
    by_id = {r.event.event_id: r for r in events}
    found = []
    for row in reversed(events):
        if row.superseded_by in by_id:
            continue
        shown: RecordedEvent | None = row
        while shown is not None:
            found.append(shown)
            shown = by_id.get(shown.event.corrects)
    return found


@router.get("/lots/{lot_id}/contents", include_in_schema=False)
def contents(request: Request, lot_id: str) -> Response:
    works = session.works_of(request)
    lot = works.book.lot(lot_id)
    session.look_at(request, lot.site)
    held = lot_properties(works, lot_id, with_cost=True)
    known = {"properties": held, "risks": risks(works, lot_id)}
    context = {"lot": lot, "held": held, "risks": known["risks"], "path": "/lots"}
    return show(request, "contents.html", context, data=known)


Act = Callable[[Works, str, str, Entered], tuple[str, str]]


def _hold(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    held = handle_lot.hold_all(
        works, who, lot_id, form.get("reason"), document=form.get("document")
    )
    others = ", ".join(str(e.facts["lot_id"]) for e in held[1:])
    return lot_id, f"{lot_id} is on hold." + (f" With it, made of it: {others}." if others else "")


def _free(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    handle_lot.free(works, who, lot_id, form.get("reason"), document=form.get("document"))
    return lot_id, f"{lot_id} is off hold."


def _split(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    names = [n for n in form.values if n.startswith("part_") and form.get(n)]
    masses = [form.number(name, "Weight of a part") for name in names]
    form.check()
    drawn = sum(masses) if form.get("rest") == "stays" else None
    parts = handle_lot.split(
        works,
        who,
        lot_id,
        masses,
        meter=form.get("scale"),
        drawn_kg=drawn,
        document=form.get("document"),
        note=form.get("note"),
    )
    return parts[0].lot_id, f"Split off: {', '.join(p.lot_id for p in parts)}."


def _combine(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    made = handle_lot.combine(
        works,
        who,
        [lot_id, *form.all("lot_ids")],
        place=form.get("place") or "floor",
        document=form.get("document"),
        note=form.get("note"),
    )
    return made.lot_id, f"Combined into {made.lot_id}."


def _waste(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    mass_kg = form.maybe("mass_kg", "Weight")
    at = form.time("happened_at", "When")
    form.check()
    handle_lot.write_off(
        works,
        who,
        lot_id,
        mass_kg,
        form.get("reason"),
        document=form.get("document"),
        happened_at=at,
    )
    return lot_id, f"Written off from {lot_id}."


def _sample(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    mass_g = form.number("mass_g", "Weight of the sample")
    form.check()
    paper, note = form.get("document"), form.get("note")
    sample = bench.take_sample(works, who, lot_id, round(mass_g), document=paper, note=note)
    return lot_id, f"Sample {sample} of {lot_id}: write that on the bag."


ACTS: dict[str, Act] = {
    "hold": _hold,
    "free": _free,
    "split": _split,
    "combine": _combine,
    "write-off": _waste,
    "sample": _sample,
    **lot_acts.ACTS,
}


@router.post("/lots/{lot_id}/{act}", include_in_schema=False)
def handle(request: Request, lot_id: str, act: str, form: Entered = Depends(entered)) -> Response:
    if act not in ACTS:
        raise BadInput("act", act, f"Nothing called {act!r} can be done with a lot.")
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        leads_to, said = ACTS[act](works, who, lot_id, form)
        session.say(request, said)
        return f"/lots/{leads_to}"

    try:
        return once(form, do)
    except BadInput as error:
        status = refused_status(error)
        return _one(request, lot_id, form, error.problems, status, opened=act)
