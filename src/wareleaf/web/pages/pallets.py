"""One pallet: what stands on it, its label, and taking lots off."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from markupsafe import Markup

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.works.doors import label
from wareleaf.works.pallets import pallet_of, take_off

router = APIRouter()


@router.get("/pallets/{sscc}", include_in_schema=False)
def one(request: Request, sscc: str, form: Entered = Depends(asked)) -> Response:
    return _page(request, sscc, form)


def _page(
    request: Request,
    sscc: str,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    pallet = pallet_of(works, sscc)
    bars = {"elements": {"00": pallet.sscc}, "symbols": ["gs1_128"]}
    drawn = label.run(label.Input.model_validate(bars))
    context = {
        "pallet": pallet,
        "symbol": Markup(drawn.symbols[0].svg),  # drawn here, of 18 digits
        "customer_name": {c.id: c.name for c in works.settings.customer},
        "form": form,
        "path": "/pack",
    }
    return show(request, "pallet.html", context, data=pallet, problems=problems, status=status)


@router.post("/pallets/{sscc}/off", include_in_schema=False)
def off(request: Request, sscc: str, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        lots = form.all("lot_ids")
        if not lots:
            raise BadInput("lot_ids", "", "No lot is ticked; tick what comes off the pallet.")
        take_off(works, who, sscc, lots, document=form.get("document"))
        session.say(request, f"Taken off: {', '.join(lots)}.")
        return f"/pallets/{sscc}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, sscc, form, error.problems, refused_status(error))
