"""Sign in with a name and a PIN; choose the site."""

from __future__ import annotations

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session, tries
from wareleaf.web.view import show
from wareleaf.works import people

router = APIRouter()


@router.get("/sign-in", include_in_schema=False)
def page(request: Request, then: str = "/") -> Response:
    return show(request, "sign_in.html", {"then": _inside(then)})


@router.post("/sign-in", include_in_schema=False)
def sign_in(
    request: Request, who: str = Form(""), pin: str = Form(""), then: str = Form("/")
) -> Response:
    works = session.works_of(request)
    wait_s = tries.wait_s(who)
    if wait_s > 0.0:
        slow = Problem("pin", "", f"Too many wrong PINs. Wait {wait_s:.0f} s, then try again.")
        return show(
            request,
            "sign_in.html",
            {"then": _inside(then), "chosen": who},
            problems=[slow],
            status=429,
        )
    try:
        fits = people.pin_fits(works, works.settings.person_of(who).id, pin)
    except BadInput:
        fits = False
    tries.note(who, fits)
    if not fits:
        wrong = Problem("pin", "", "Name and PIN do not go together. Try again.")
        return show(
            request,
            "sign_in.html",
            {"then": _inside(then), "chosen": who},
            problems=[wrong],
            status=422,
        )
    request.session.clear()
    request.session["who"] = who
    return RedirectResponse(_inside(then), status_code=303)


@router.post("/sign-out", include_in_schema=False)
def sign_out(request: Request) -> Response:
    request.session.clear()
    return RedirectResponse("/sign-in", status_code=303)


@router.post("/site", include_in_schema=False)
def choose_site(request: Request, site: str = Form(), then: str = Form("/")) -> Response:
    request.session["site"] = session.works_of(request).settings.site_of(site).id
    return RedirectResponse(_inside(then), status_code=303)


@router.get("/health", include_in_schema=False)
def health() -> dict[str, str]:
    return {"status": "open"}


def _inside(address: str) -> str:
    """Only addresses of this app are followed."""
    return address if address.startswith("/") and not address.startswith("//") else "/"
