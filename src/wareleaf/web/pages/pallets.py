"""One pallet: what stands on it, its label, and taking lots off."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from markupsafe import Markup

from wareleaf.measure.errors import BadInput
from wareleaf.web import session
from wareleaf.web.forms import Entered, entered, once
from wareleaf.web.view import show
from wareleaf.works.doors import label
from wareleaf.works.pallets import pallet_of, put_on, take_off

router = APIRouter()


@router.get("/pallets/{sscc}", include_in_schema=False)
def one(request: Request, sscc: str) -> Response:
    works = session.works_of(request)
    pallet = pallet_of(works, sscc)
    asked = {"elements": {"00": pallet.sscc}, "symbols": ["gs1_128"]}
    drawn = label.run(label.Input.model_validate(asked))
    context = {
        "pallet": pallet,
        "symbol": Markup(drawn.symbols[0].svg),  # drawn here, of 18 digits
        "customer_name": {c.id: c.name for c in works.settings.customer},
        "path": "/pack",
    }
    return show(request, "pallet.html", context, data=pallet)


@router.post("/pallets", include_in_schema=False)
def build(request: Request, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        ticked = form.all("stack")
        if not ticked:
            form.wrong("stack", "No lot is ticked; tick what goes on the pallet.")
        packs = {i: form.maybe(f"packs {i}", f"Packs of {i}") for i in ticked}
        for lot_id, count in packs.items():
            if count is not None and count != int(count):
                form.wrong(f"packs {lot_id}", f"{count:g} packs of {lot_id}: whole packs only.")
        form.check()
        whole = {k: None if n is None else int(n) for k, n in packs.items()}
        pallet = put_on(works, who, whole, sscc=form.get("sscc"))
        session.say(request, f"On pallet {pallet.sscc}.")
        return f"/pallets/{pallet.sscc}"

    return once(form, do)


@router.post("/pallets/{sscc}/off", include_in_schema=False)
def off(request: Request, sscc: str, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        lots = form.all("lot_ids")
        if not lots:
            raise BadInput("lot_ids", "", "No lot is ticked; tick what comes off the pallet.")
        take_off(works, who, sscc, lots)
        session.say(request, f"Taken off: {', '.join(lots)}.")
        return f"/pallets/{sscc}"

    return once(form, do)
