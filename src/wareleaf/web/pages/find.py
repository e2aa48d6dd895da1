"""Find: one field that takes any label, from the top of every page."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.web import session
from wareleaf.web.as_json import wants_json
from wareleaf.web.view import show
from wareleaf.works.find_label import Hit, find_label
from wareleaf.works.find_lots import pallet_named

router = APIRouter()

_PAGES = {"lot": "/lots/", "run": "/floor/run/", "sample": "/bench/"}


@router.get("/find", include_in_schema=False)
def find(request: Request, q: str = "") -> Response:
    works = session.works_of(request)
    pallet = pallet_named(works, q)
    if pallet and not wants_json(request):
        return RedirectResponse(f"/pallets/{pallet}", status_code=303)
    found = find_label(works, q)
    leads_to = _page_of(found.only) if found.only else ""
    if leads_to and not wants_json(request):
        return RedirectResponse(leads_to, status_code=303)
    context = {"found": found, "q": q, "page_of": _page_of}
    return show(request, "find.html", context, data=found)


def _page_of(hit: Hit) -> str:
    """Where a hit is shown: its own page, or that of the one lot it speaks of."""
    if hit.kind in _PAGES:
        return _PAGES[hit.kind] + quote(hit.name, safe="")
    return _PAGES["lot"] + quote(hit.lots[0], safe="") if hit.total == 1 else ""
