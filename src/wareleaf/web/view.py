"""Shows pages: the template set, how numbers are written for people, and refusals."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import JSONResponse, Response
from fastapi.templating import Jinja2Templates

from wareleaf import leaf as leaves
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import charts, session
from wareleaf.web.as_json import plain, wants_json
from wareleaf.web.forms import press_number
from wareleaf.works.people import MAY, NotAllowed

TEMPLATES = Jinja2Templates(directory=Path(__file__).parent / "templates")

# The rail: address, word, and who needs it most.
RAIL = (
    ("/", "Day"),
    ("/intake", "Intake"),
    ("/floor", "Floor"),
    ("/lots", "Lots"),
    ("/bench", "Bench"),
    ("/blend", "Blend"),
    ("/pack", "Pack"),
    ("/trace", "Trace"),
    ("/plan", "Plan"),
    ("/watch", "Watch"),
)


def show(
    request: Request,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    data: Any = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    """Render a page with what every page needs, or answer in JSON when that was asked for.

    Parameters
    ----------
    request : Request
        Being answered.
    template : str
        Name in ``templates/``.
    context : mapping
        For the template. ``form`` (an `Entered`) keeps what was typed.
    data : Any
        What the page shows, for JSON; the context itself when left out.
    problems : sequence of Problem
        Shown on top and at their fields.
    status : int
        Of the answer; 422 with problems.
    """
    context = context or {}
    if wants_json(request):
        if problems:
            return JSONResponse(_error_body(problems), status_code=status)
        hidden = ("form", "picture", "pictures")
        shown = {k: v for k, v in context.items() if k not in hidden} if data is None else data
        return JSONResponse(plain(shown), status_code=status)
    works = session.works_of(request)
    who = session.person(request) if session.person_id(request) is not None else None
    base = {
        "works": works,
        "rail": RAIL,
        "path": request.url.path,
        "now": works.now(),
        "person": who,
        "site": session.site(request) if who else None,
        "sites": works.settings.site,
        "said": session.said(request),
        "problems": problems,
        "bad_words": {p.field: for_people(p.message) for p in problems},
        "form": {},
        "press": press_number(),
        "may": {job: bool(who and allowed.intersection(who.roles)) for job, allowed in MAY.items()},
        "name_of": {p.id: p.name for p in works.settings.person},
        "demo": works.book.settings_get("demo"),
    }
    return TEMPLATES.TemplateResponse(request, template, {**base, **context}, status_code=status)


def refused_status(error: BadInput) -> int:
    """403 when the person may not, 422 when the input cannot be."""
    return 403 if isinstance(error, NotAllowed) else 422


def _error_body(problems: Sequence[Problem]) -> dict[str, Any]:
    from wareleaf.works.doors import error_body

    return error_body(BadInput.of(problems))


async def show_refusal(request: Request, error: Exception) -> Response:
    """A page or JSON for input that a page did not expect to be bad."""
    assert isinstance(error, BadInput)
    status = refused_status(error)
    if request.url.path.startswith("/api/"):
        return JSONResponse(_error_body(error.problems), status_code=status)
    return show(request, "refused.html", problems=error.problems, status=status)


# The works' names of fields, as people say them.
WORDS = {
    "gross_kg": "Full weight",
    "tare_kg": "Empty weight",
    "ticket_kg": "Weight on the ticket",
    "surface_water_kg": "Surface water",
    "moisture_wb": "Moisture",
    "moisture_meter": "Moisture meter",
    "mass_kg": "Weight",
    "masses_kg": "Weight of a part",
    "mass_g": "Weight of the sample",
    "cut_at": "Time it was cut",
    "happened_at": "Time",
    "lot_ids": "Lots",
    "lot_id": "Lot",
    "run_id": "Run",
    "temperature_c": "Temperature",
    "relative_humidity": "Relative humidity",
    "net_g": "Net weight",
    "reason": "Reason",
    "meter": "Meter",
    "scale": "Scale",
    "source": "Line or field",
    "equipment": "Machine",
}
_WORD = re.compile(r"\b(" + "|".join(sorted(WORDS, key=len, reverse=True)) + r")\b")


def for_people(message: str) -> str:
    """A sentence of the works with its field names in the words of the page."""
    said = _WORD.sub(lambda m: WORDS[m.group(1)], message)
    return said[:1].upper() + said[1:]


def kg(grams: float | None) -> str:
    """Grams as kilograms for people: 3 figures that matter."""
    if grams is None:
        return "–"
    return kilos(grams / 1000.0)


def kilos(mass_kg: float | None) -> str:
    """Kilograms for people."""
    if mass_kg is None or not math.isfinite(mass_kg):
        return "–"
    if abs(mass_kg) >= 100.0:
        return f"{mass_kg:,.0f} kg".replace(",", " ")
    if abs(mass_kg) >= 10.0:
        return f"{mass_kg:.1f} kg"
    return f"{mass_kg:.2f} kg"


def percent(fraction: float | None, digits: int = 1) -> str:
    """A fraction as percent."""
    if fraction is None or not math.isfinite(fraction):
        return "–"
    return f"{fraction * 100:.{digits}f} %"


def clock(at: datetime | None, now: datetime | None = None) -> str:
    """Time of day; with the weekday when it is not today."""
    if at is None:
        return "–"
    if now is not None:
        at = at.astimezone(now.tzinfo)
        if at.date() != now.date():
            return f"{at:%a %d %b %H:%M}"
    return f"{at:%H:%M}"


def hours(value: float | timedelta | None) -> str:
    """A length of time for people: 45 min, 3 h 20 min."""
    if value is None:
        return "–"
    total = value.total_seconds() / 3600.0 if isinstance(value, timedelta) else value
    if not math.isfinite(total):
        return "–"
    minutes = round(abs(total) * 60.0)
    sign = "-" if total < 0 and minutes else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    if minutes < 48 * 60:
        return f"{sign}{minutes // 60} h {minutes % 60:02d} min"
    return f"{sign}{minutes / 1440:.1f} days"


def doubt(fraction_sd: float | None) -> str:
    """Half-width of the 95 % band of a fraction: ± 1.2 %."""
    if fraction_sd is None or not math.isfinite(fraction_sd):
        return ""
    return f"± {fraction_sd * 196.0:.1f} %"


def number(value: float | None, digits: int = 1) -> str:
    """A plain number with thin groups of thousands."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:,.{digits}f}".replace(",", " ")


def typed(value: float | None) -> str:
    """A number as it stands in an entry field: no needless zeros."""
    return "" if value is None else f"{value:.6g}"


def leaf_name(leaf_id: str) -> str:
    """What people call a leaf."""
    try:
        return leaves.profile(leaf_id).name
    except BadInput:
        return leaf_id


# State as a word, and the tint that helps it.
STATES = {
    "open": ("in stock", ""),
    "on_stage": ("on a machine", "due"),
    "held": ("on hold", "stop"),
    "released": ("released", "good"),
    "used": ("used up", ""),
    "shipped": ("shipped", ""),
    "late": ("late", "stop"),
    "soon": ("soon", "due"),
    "later": ("later", ""),
}


def state(word: str) -> tuple[str, str]:
    """The word that is shown for a state, and its tint."""
    return STATES.get(word, (word.replace("_", " "), ""))


for _filter in (kg, kilos, percent, clock, hours, doubt, number, typed, leaf_name, state, plain):
    TEMPLATES.env.filters[_filter.__name__] = _filter
TEMPLATES.env.filters["for_people"] = for_people
TEMPLATES.env.globals["charts"] = charts
