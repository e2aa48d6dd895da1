"""Shows pages: the template set, what every page is given, JSON on request, and refusals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.exception_handlers import http_exception_handler
from fastapi.responses import JSONResponse, Response
from fastapi.templating import Jinja2Templates
from starlette.exceptions import HTTPException

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import charts, session
from wareleaf.web.as_json import plain, wants_json
from wareleaf.web.forms import NotSaved, press_number
from wareleaf.web.office_words import OFFICE_FILTERS
from wareleaf.web.words import FILTERS, for_people
from wareleaf.works.clock import clock_trouble
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
    ("/settings", "Works"),
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
        "clock_trouble": clock_trouble(works),
    }
    return TEMPLATES.TemplateResponse(request, template, {**base, **context}, status_code=status)


def refused_status(error: BadInput) -> int:
    """403 when the person may not, 503 when the book cannot, 422 when the input cannot be."""
    if isinstance(error, NotSaved):
        return 503
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


async def show_astray(request: Request, error: Exception) -> Response:
    """A page or JSON for an address that the works does not have, or that only takes forms."""
    assert isinstance(error, HTTPException)
    path = request.url.path
    if error.status_code not in (404, 405) or path.startswith(("/api/", "/static/")):
        return await http_exception_handler(request, error)
    if wants_json(request) or session.person_id(request) is None:
        return await http_exception_handler(request, error)
    problem = Problem("address", path, f"There is no page at {path}; take one from the menu.")
    return show(request, "refused.html", problems=(problem,), status=error.status_code)


# Of what a form sends, not shown back: secrets, and what nobody typed.
_NOT_TYPED = ("press", "pin", "then")


async def show_unavailable(request: Request, error: Exception) -> Response:
    """A page or JSON when the book itself cannot be read or written: made without the book.

    What was typed is shown, so that it can be copied onto paper.
    """
    if request.url.path.startswith("/api/") or wants_json(request):
        body = _error_body([Problem("book", None, str(error))])
        return JSONResponse(body, status_code=503)
    typed = []
    if request.method == "POST":
        form = await request.form()
        typed = [
            (k, v)
            for k, v in form.multi_items()
            if isinstance(v, str) and v.strip() and k not in _NOT_TYPED
        ]
    context = {
        "firm": session.works_of(request).settings.firm.name,
        "sentence": str(error),
        "typed": typed,
        "again": request.url.path if request.method == "GET" else "",
    }
    return TEMPLATES.TemplateResponse(request, "unavailable.html", context, status_code=503)


for _filter in (*FILTERS, *OFFICE_FILTERS):
    TEMPLATES.env.filters[_filter.__name__] = _filter
TEMPLATES.env.filters["plain"] = plain
TEMPLATES.env.globals["charts"] = charts
