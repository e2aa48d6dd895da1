"""Something came back: leaf that a customer returns, received as new lots on hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.meters import meters_for
from wareleaf.web.view import refused_status, show
from wareleaf.works.returns import receive_back

router = APIRouter()

MOST = 60


@router.get("/returns", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form)


def _page(
    request: Request, form: Entered, problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    works, site = session.works_of(request), session.site(request)
    customers = works.settings.customer
    wanted = form.get("customer")
    customer = works.settings.customer_of(wanted) if wanted else next(iter(customers), None)
    away = [
        (lot, lot.away[customer.id][0])
        for lot in reversed(works.book.lots(site=site.id))
        if customer is not None and customer.id in lot.away
    ]
    found = works.book.events(kind="receive_back", site=site.id, limit=6, newest_first=True)
    context: dict[str, Any] = {
        "customers": customers,
        "customer": customer,
        "away": away[:MOST],
        "scales": [
            ("", "not weighed again"),
            *((m.id, m.name) for m in meters_for(works, site.id, "mass_kg")),
        ],
        "came": found,
        "customer_name": {c.id: c.name for c in customers},
        "form": form,
        "path": "/pack",
    }
    data = {"customer": customer, "away": context["away"]}
    return show(request, "returns.html", context, data=data, problems=problems, status=status)


@router.post("/returns", include_in_schema=False)
def take(request: Request, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        ticked = form.all("lot_ids")
        if not ticked:
            form.wrong("lot_ids", "No lot is ticked; tick what came back.")
        lots_kg = {i: form.maybe(f"kg {i}", f"Kilograms of {i}") for i in ticked}
        because = form.text("because", "Why it came back")
        form.check()
        made = receive_back(
            works,
            who,
            form.get("customer"),
            lots_kg,
            because,
            meter=form.get("scale"),
            document=form.get("document"),
            note=form.get("note"),
        )
        names = ", ".join(lot.lot_id for lot in made)
        session.say(request, f"Received back, on hold: {names}. Write that on it; set it apart.")
        return f"/returns?customer={form.get('customer')}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))
