"""Plan: where each load goes today and tomorrow, what limits the day, and what when it breaks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.plan_strip import letters, strips
from wareleaf.web.view import refused_status, show
from wareleaf.works import expected as calls
from wareleaf.works import plan_day
from wareleaf.works.house import Works
from wareleaf.works.people import MAY
from wareleaf.works.settings import Person

router = APIRouter()

AHEAD = timedelta(days=2)


@router.get("/plan", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form, look=bool(form.get("room")))


def _page(
    request: Request,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
    opened: str = "",
    look: bool = False,
) -> Response:
    works, site = session.works_of(request), session.site(request)
    now = works.now()
    plan = plan_day.stored_plan(works, site.id)
    machines = [m for m in works.settings.equipment if m.site == site.id]
    room = None
    if look and not problems:
        try:
            room = _room(works, site.id, form)
        except BadInput as error:
            problems, status = error.problems, 422
    named = letters(plan) if plan else {}
    context: dict[str, Any] = {
        "plan": plan,
        "changed": plan_day.changed_since(works, plan) if plan else (),
        "strips": strips(plan, machines, now) if plan else (),
        "letters": named,
        "loads": {x.load_id: x for x in plan.loads} if plan else {},
        "coming": calls.expected(works, site.id, now - timedelta(hours=6), now + AHEAD),
        "out": plan_day.outages(works, site.id),
        "machines": [(m.id, m.name) for m in machines],
        "machine_name": {m.id: m.name for m in machines},
        "sources": [(s.id, s.name) for s in works.settings.source if s.site == site.id],
        "soon": _whole_hour(now, 2.0),
        "later": _whole_hour(now, 4.0),
        "room": room,
        "opened": "room" if look else opened,
        "form": form,
    }
    keys = ("plan", "changed", "coming", "out", "room")
    data = {k: context[k] for k in keys}
    return show(request, "plan.html", context, data=data, problems=problems, status=status)


def _whole_hour(now: datetime, ahead_h: float) -> str:
    at = (now + timedelta(hours=ahead_h)).replace(minute=0, second=0, microsecond=0)
    return f"{at:%Y-%m-%dT%H:%M}"


def _room(works: Works, site_id: str, form: Entered) -> plan_day.RoomFor:
    at = form.time("room_at", "Hour it would arrive")
    if at is None:
        form.wrong("room_at", "The hour it would arrive is empty; choose one.")
    form.check()
    assert at is not None
    return plan_day.room_for_more(works, site_id, form.get("room"), at)


Act = Callable[[Request, Works, Person, str, Entered], str]


def _now(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    plan_day.plan_site(works, who.id, site)
    return "Planned anew."


def _again(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    plan = plan_day.replan(works, who.id, site)
    return f"The plan is up to date; {_moved(plan)}."


def _down(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    """Note the outage; who may plan gets the new plan at once."""
    machine = works.settings.equipment_of(form.get("machine"))
    since = form.time("from_at", "Down since") or works.now()
    until = form.time("until_at", "Back at")
    if until is None:
        form.wrong("until_at", "Back at is empty; say when it is expected back, roughly.")
    form.check()
    assert until is not None
    note = form.get("note")
    if MAY["plan the day"].isdisjoint(who.roles):
        if until <= since:
            raise BadInput("until_at", form.get("until_at"), "It must come back after it stops.")
        plan_day.report(works, who.id, machine.id, since, until, note)
        return f"{machine.name} is noted as down until {until:%H:%M}. Tell the manager to plan."
    plan = plan_day.replan(works, who.id, site, machine.id, since, until, note=note)
    return f"{machine.name} is down until {until:%H:%M}. Planned around it; {_moved(plan)}."


def _up(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    machine = works.settings.equipment_of(form.get("machine"))
    now = works.now()
    plan_day.report(works, who.id, machine.id, now, now, "in order again")
    return f"{machine.name} is in order again."


def _moved(plan: plan_day.DayPlan) -> str:
    return f"{len(plan.moves)} runs moved" if plan.moves else "no run had to move"


def _announce(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    kg = form.number("mass_kg", "Weight")
    at = form.time("arrives_at", "Arrives at")
    if at is None:
        form.wrong("arrives_at", "Arrives at is empty; choose a time.")
    form.check()
    assert at is not None
    load = calls.announce(works, who.id, form.get("source"), kg, at, form.get("note"))
    return f"Announced: {load.mass_kg:.0f} kg from {load.name} at {at:%a %H:%M}."


def _withdraw(request: Request, works: Works, who: Person, site: str, form: Entered) -> str:
    calls.withdraw(works, who.id, form.get("expected_id"))
    return "That load is taken back."


ACTS: dict[str, Act] = {
    "now": _now,
    "again": _again,
    "down": _down,
    "up": _up,
    "announce": _announce,
    "withdraw": _withdraw,
}


@router.post("/plan/{act}", include_in_schema=False)
def handle(request: Request, act: str, form: Entered = Depends(entered)) -> Response:
    if act not in ACTS:
        raise BadInput("act", act, f"Nothing called {act!r} can be done with the plan.")
    works, site = session.works_of(request), session.site(request)

    def do() -> str:
        session.say(request, ACTS[act](request, works, session.person(request), site.id, form))
        return "/plan"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error), opened=act)
