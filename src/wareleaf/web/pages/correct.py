"""Correct an entry: its weights, its value, its reason, its time, its paper, or take it out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.book import Event, as_meant
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.web.words import typed
from wareleaf.works.correct_rules import SIGNED
from wareleaf.works.correct_weights import (
    REASONED,
    VALUED,
    WEIGHED,
    correct_reason,
    correct_value,
    correct_weights,
    in_force,
)
from wareleaf.works.handle_lot import correct
from wareleaf.works.house import Works

router = APIRouter()

PERCENT = 100.0


@router.get("/lots/{lot_id}/correct/{event_id}", include_in_schema=False)
def page(request: Request, lot_id: str, event_id: str, form: Entered = Depends(asked)) -> Response:
    return _page(request, lot_id, event_id, form)


def _page(
    request: Request,
    lot_id: str,
    event_id: str,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    event = as_meant(in_force(works, event_id))
    context: dict[str, Any] = {
        "lot_id": lot_id,
        "event": event,
        "kind": event.kind,
        "weighed": event.kind in WEIGHED,
        "valued": event.kind in VALUED,
        "reasoned": event.kind in REASONED,
        "signed": event.kind in SIGNED and event.kind not in VALUED,
        "per": _per(event),
        "happened_at": _shown_time(works, event),
        "form": form,
    }
    return show(request, "correct.html", context, data=event, problems=problems, status=status)


def _per(event: Event) -> float:
    """A fraction is shown and typed as percent."""
    return PERCENT if str(event.facts.get("unit", "")).startswith("fraction") else 1.0


def _shown_time(works: Works, event: Event) -> str:
    return event.happened_at.astimezone(works.settings.zone).strftime("%Y-%m-%dT%H:%M")


@router.post("/lots/{lot_id}/correct/{event_id}", include_in_schema=False)
def enter(
    request: Request, lot_id: str, event_id: str, form: Entered = Depends(entered)
) -> Response:
    works, who = session.works_of(request), session.person(request).id
    event = as_meant(in_force(works, event_id))

    def do() -> str:
        reason = form.text("reason", "What was wrong")
        if form.get("void"):
            form.check()
            correct(works, who, event_id, reason, void=True)
        else:
            _change(works, who, event_id, event, form, reason)
        session.say(request, "Corrected. What was written before stays readable.")
        gone = bool(form.get("void")) and not works.book.lots(ids=[lot_id])
        return "/lots" if gone else f"/lots/{lot_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, lot_id, event_id, form, error.problems, refused_status(error))


def _change(
    works: Works, who: str, event_id: str, event: Event, form: Entered, reason: str
) -> None:
    """Record what was changed of an entry; what stands as it was shown is left as it is."""
    more = _time_and_paper(works, event, form)
    weights = _weights(event, form) if event.kind in WEIGHED else {}
    value = said = None
    if event.kind in VALUED:
        shown = typed(event.facts["value"] * _per(event))
        if form.get("value", shown) != shown:
            value = form.number("value", "Value", _per(event))
    if event.kind in REASONED and form.get("said", event.facts["reason"]) != event.facts["reason"]:
        said = form.get("said")
    form.check()
    if weights:
        correct_weights(works, who, event_id, reason, weights, more)
    elif value is not None:
        correct_value(works, who, event_id, reason, value, more)
    elif said is not None:
        correct_reason(works, who, event_id, reason, said, more)
    elif more:
        correct(works, who, event_id, reason, changes=more)
    else:
        raise BadInput(
            "void",
            "",
            "Nothing is changed; change what was wrong, tick that it never happened, or go back.",
        )


def _time_and_paper(works: Works, event: Event, form: Entered) -> dict[str, Any]:
    more: dict[str, Any] = {}
    at = form.time("happened_at", "When it happened")
    if at is not None and form.get("happened_at")[:16] != _shown_time(works, event):
        more["happened_at"] = at
    if form.get("document", event.document) != event.document:
        more["document"] = form.get("document")
    return more


def _weights(event: Event, form: Entered) -> dict[str, tuple[float, float]]:
    """Kilograms and moisture of the lots of which either was changed."""
    found = {}
    for made in event.outputs:
        kg, wet = made.mass_g / 1000.0, (made.mass_g - made.dry_g) / made.mass_g
        mass, moisture = f"mass_kg {made.lot_id}", f"moisture_wb {made.lot_id}"
        other_kg = form.get(mass, typed(kg)) != typed(kg)
        other_wet = form.get(moisture, typed(PERCENT * wet)) != typed(PERCENT * wet)
        if other_kg:
            kg = form.number(mass, f"Weight of {made.lot_id}")
        if other_wet:
            wet = form.percent(moisture, f"Moisture of {made.lot_id}")
        if other_kg or other_wet:
            found[made.lot_id] = (kg, wet)
    return found
