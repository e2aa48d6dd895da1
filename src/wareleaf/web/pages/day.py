"""The day at a glance: what needs someone, in order of deadline; then the floor and what waits."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from wareleaf.web import session
from wareleaf.web.view import show
from wareleaf.works.day import day_view
from wareleaf.works.leaf_now import leaf_now

router = APIRouter()

# Word on the button that leads to where a thing is done.
BUTTONS = (("/floor/run/", "Open the run"), ("/floor", "Start it"), ("/bench", "Enter result"))


def button(link: str) -> str:
    """The word for a link of the day."""
    return next((word for start, word in BUTTONS if link.startswith(start)), "Open")


@router.get("/", include_in_schema=False)
def page(request: Request) -> Response:
    works, site = session.works_of(request), session.site(request)
    day = day_view(works, site.id)
    context = {
        "day": day,
        "leaf": {v.run.run_id: leaf_now(v, day.now) for v in day.machines if v.run},
        "button": button,
    }
    return show(request, "day.html", context, data=day)
