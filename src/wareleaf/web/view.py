"""Shows pages: the template set, how numbers are written for people, and refusals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.templating import Jinja2Templates

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session

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
    context: dict[str, Any] | None = None,
    *,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> HTMLResponse:
    """Render a page with what every page needs."""
    works = session.works_of(request)
    signed_in = session.person_id(request) is not None
    base = {
        "works": works,
        "rail": RAIL,
        "path": request.url.path,
        "now": works.now(),
        "person": session.person(request) if signed_in else None,
        "site": session.site(request) if signed_in else None,
        "sites": works.settings.site,
        "said": session.said(request),
        "problems": problems,
        "bad_fields": {p.field for p in problems},
        "demo": works.book.settings_get("demo"),
    }
    return TEMPLATES.TemplateResponse(
        request, template, {**base, **(context or {})}, status_code=status
    )


async def show_refusal(request: Request, error: Exception) -> Response:
    """A page or JSON for input that a page did not expect to be bad."""
    assert isinstance(error, BadInput)
    if request.url.path.startswith("/api/"):
        from wareleaf.works.doors import error_body

        return JSONResponse(error_body(error), status_code=422)
    return show(request, "refused.html", {}, problems=error.problems, status=422)


def kg(grams: float | None) -> str:
    """Grams as kilograms for people: 3 figures that matter."""
    if grams is None:
        return "–"
    return kilos(grams / 1000.0)


def kilos(mass_kg: float | None) -> str:
    """Kilograms for people."""
    if mass_kg is None:
        return "–"
    if abs(mass_kg) >= 100.0:
        return f"{mass_kg:,.0f} kg".replace(",", " ")
    if abs(mass_kg) >= 10.0:
        return f"{mass_kg:.1f} kg"
    return f"{mass_kg:.2f} kg"


def percent(fraction: float | None, digits: int = 1) -> str:
    """A fraction as percent."""
    return "–" if fraction is None else f"{fraction * 100:.{digits}f} %"


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
    minutes = round(total * 60.0)
    if abs(minutes) < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


for _name, _filter in (
    ("kg", kg),
    ("kilos", kilos),
    ("percent", percent),
    ("clock", clock),
    ("hours", hours),
):
    TEMPLATES.env.filters[_name] = _filter
