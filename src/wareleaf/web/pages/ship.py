"""Ship: a customer, the lots that are released for their market, and packs put on a pallet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.works.house import Works
from wareleaf.works.pallets import pallets_here, put_on
from wareleaf.works.ship import ship

router = APIRouter()


@router.get("/ship", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form)


def _page(
    request: Request, form: Entered, problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    works, site = session.works_of(request), session.site(request)
    if form.get("lot"):
        form.values.setdefault("lot_ids", [form.get("lot")])
    customers = works.settings.customer
    wanted = form.get("customer")
    customer = works.settings.customer_of(wanted) if wanted else next(iter(customers), None)
    stock = works.book.lots(site=site.id, in_stock_only=True)
    ready = [
        lot
        for lot in stock
        if customer is not None
        and customer.market in lot.released_for
        and not lot.held_because
        and not lot.on_runs
    ]
    waiting = [
        lot for lot in stock if lot.form == "packed" and lot not in ready and not lot.held_because
    ]
    context: dict[str, Any] = {
        "customers": customers,
        "customer": customer,
        "packed": [lot for lot in ready if lot.form == "packed" and lot.loose_g],
        "bulk": [lot for lot in ready if lot.form != "packed"],
        "waiting": waiting,
        "pallets": _pallets(works, site.id, ready),
        "to_stack": [lot for lot in stock if lot.form == "packed" and lot.loose_g],
        "sent": works.book.events(kind="ship", site=site.id, limit=6, newest_first=True),
        "customer_name": {c.id: c.name for c in customers},
        "form": form,
        "path": "/pack",
    }
    data = {k: context[k] for k in ("customer", "packed", "bulk")}
    return show(request, "ship.html", context, data=data, problems=problems, status=status)


def _pallets(
    works: Works, site_id: str, ready: Sequence[LotState]
) -> list[tuple[str, list[tuple[LotState, int]], bool]]:
    """Pallets here: number, what stands on each, and whether all of it may go."""
    free = {lot.lot_id for lot in ready}
    return [
        (sscc, on_it, all(lot.lot_id in free for lot, _ in on_it))
        for sscc, on_it in pallets_here(works, site_id).items()
    ]


def _packs(form: Entered, lot_id: str) -> int:
    """A count of packs; a part of a pack does not leave by itself."""
    name = f"packs {lot_id}"
    count = form.number(name, f"Packs of {lot_id}")
    if not count.is_integer():
        said = f"Packs of {lot_id} is {form.get(name)}; give a whole number, whole packs only."
        form.wrong(name, said)
    return int(count)


@router.post("/ship", include_in_schema=False)
def send(request: Request, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        ticked = form.all("lot_ids")
        numbers = form.all("pallets")
        if not ticked and not numbers:
            form.wrong("lot_ids", "No lot is ticked; tick what goes on the vehicle.")
        packs = {i: _packs(form, i) for i in ticked if form.get(f"packs {i}")}
        lots_kg = {i: form.maybe(f"kg {i}", f"Kilograms of {i}") for i in ticked if i not in packs}
        form.check()
        event = ship(
            works,
            session.person(request).id,
            form.get("customer"),
            lots_kg,
            vehicle=form.get("vehicle"),
            document=form.get("document"),
            pallets=numbers,
            packs=packs,
            note=form.get("note"),
        )
        kg = sum(d.mass_g for d in event.inputs) / 1000.0
        name = works.settings.customer_of(form.get("customer")).name
        session.say(request, f"Shipped: {kg:.1f} kg to {name}.")
        return f"/ship?customer={form.get('customer')}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))


@router.post("/pallets", include_in_schema=False)
def build(request: Request, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        ticked = form.all("stack")
        if not ticked:
            form.wrong("stack", "No lot is ticked; tick what goes on the pallet.")
        packs = {i: _packs(form, i) if form.get(f"packs {i}") else None for i in ticked}
        form.check()
        pallet = put_on(works, who, packs, sscc=form.get("sscc"), document=form.get("document"))
        session.say(request, f"On pallet {pallet.sscc}.")
        return f"/pallets/{pallet.sscc}"

    try:
        return once(form, do)
    except BadInput as error:
        form.values["part"] = ["pallet"]
        return _page(request, form, error.problems, refused_status(error))
