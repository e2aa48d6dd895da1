"""Rooms: what lies loose in bins and silos, tip lots in, take leaf out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.meters import meters_for
from wareleaf.web.view import refused_status, show
from wareleaf.works.room_view import room_view, rooms
from wareleaf.works.rooms import put_in, take_out

router = APIRouter()


@router.get("/rooms", include_in_schema=False)
def page(request: Request) -> Response:
    works, site = session.works_of(request), session.site(request)
    views = rooms(works, site.id)
    return show(request, "rooms.html", {"views": views, "path": "/lots"}, data={"rooms": views})


@router.get("/rooms/{room_id}", include_in_schema=False)
def one(request: Request, room_id: str, form: Entered = Depends(asked)) -> Response:
    return _page(request, room_id, form)


def _page(
    request: Request,
    room_id: str,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    view = room_view(works, room_id)
    session.look_at(request, view.room.site)
    scales = meters_for(works, view.room.site, "mass_kg")
    there = {(lot.leaf, lot.form) for lot in view.lots}
    outside = [
        lot
        for lot in works.book.lots(site=view.room.site, in_stock_only=True)
        if lot.place != room_id
        and not lot.on_runs
        and not lot.held_because
        and (not there or (lot.leaf, lot.form) in there)
        and lot.form not in ("packed", "fresh", "refuse")
    ]
    context: dict[str, Any] = {
        "view": view,
        "fit": sorted(outside, key=lambda lot: lot.made_at, reverse=True)[:40],
        "scales": scales,
        "scale": session.remembered(request, "room_scale", scales[-1].id if scales else ""),
        "form": form,
        "path": "/lots",
    }
    data = {"room": view, "fit": context["fit"]}
    return show(request, "room.html", context, data=data, problems=problems, status=status)


@router.post("/rooms/{room_id}/put", include_in_schema=False)
def put(request: Request, room_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        if not form.all("lot_ids"):
            form.wrong("lot_ids", "No lot is ticked; tick what goes in.")
        form.check()
        person = session.person(request).id
        paper, note = form.get("document"), form.get("note")
        view = put_in(works, person, room_id, form.all("lot_ids"), document=paper, note=note)
        session.say(request, f"{view.room.name} holds {view.mass_kg:.1f} kg now.")
        return f"/rooms/{room_id}"

    return _done(request, room_id, form, do)


@router.post("/rooms/{room_id}/take", include_in_schema=False)
def take(request: Request, room_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        mass_kg = form.number("mass_kg", "Weight")
        form.check()
        lot = take_out(
            works,
            session.person(request).id,
            room_id,
            mass_kg,
            form.get("scale"),
            place=form.get("place") or "floor",
            label=form.get("label"),
            document=form.get("document"),
            note=form.get("note"),
        )
        session.remember(request, room_scale=form.get("scale"))
        session.say(request, f"Taken out. Write on the bin: {lot.lot_id}.")
        return f"/rooms/{room_id}"

    return _done(request, room_id, form, do)


def _done(request: Request, room_id: str, form: Entered, do: Any) -> Response:
    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, room_id, form, error.problems, refused_status(error))
