"""Trace: where each gram came from, and who received what was made of it."""

from __future__ import annotations

from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.as_json import wants_json
from wareleaf.web.forms import Entered, asked
from wareleaf.web.trace_graph import trace_graph
from wareleaf.web.view import refused_status, show
from wareleaf.works.find_lots import find_lots
from wareleaf.works.room_view import rooms_passed
from wareleaf.works.sight import sight
from wareleaf.works.touching import touches_said
from wareleaf.works.trace_lot import trace
from wareleaf.works.whereabouts import whereabouts

router = APIRouter()


@router.get("/trace", include_in_schema=False)
def search(request: Request, q: str = "") -> Response:
    found = find_lots(
        session.works_of(request), None, text=q, in_stock_only=False, most=40 if q else 12
    )
    only = found.lots[0].lot_id if q and found.total == 1 and not found.pallet else ""
    if (found.exact or only) and not wants_json(request):
        return RedirectResponse(f"/trace/{found.exact or only}", status_code=303)
    if found.pallet and not wants_json(request):
        return RedirectResponse(f"/pallets/{found.pallet}", status_code=303)
    return show(request, "trace.html", {"found": found, "q": q}, data=found)


@router.get("/trace/{lot_id}", include_in_schema=False)
def one(request: Request, lot_id: str, form: Entered = Depends(asked)) -> Response:
    works, status = session.works_of(request), 200
    problems: tuple[Problem, ...] = ()
    try:
        known_on = form.time("known_on", "As known on")
        form.check()
        view = trace(works, lot_id, known_on)
    except BadInput as error:
        if not form.get("known_on"):
            raise
        view = trace(works, lot_id)
        problems, status = tuple(error.problems), refused_status(error)
    balance = whereabouts(view)
    passed = rooms_passed(works, view.lots.values())
    touched = touches_said(sight(works, view.known_at), view.lots)
    query = f"?{urlencode({'known_on': form.get('known_on')})}" if view.known_at else ""
    context = {
        "view": view,
        "balance": balance,
        "lot": view.lot,
        "picture": trace_graph(view, query=query),
        "passed": passed,
        "touched": touched,
        "form": form,
    }
    data = {"trace": view, "balance": balance, "rooms": passed, "touches": touched}
    return show(request, "trace_lot.html", context, data=data, problems=problems, status=status)
