"""Blend: what a buyer wants, the cheapest draws that keep it, and the blend as a new lot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.plan.blend import Limit
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.office_words import property_name, property_per
from wareleaf.web.view import refused_status, show
from wareleaf.works.blend_order import Order, make_blend, propose
from wareleaf.works.blend_order_store import MOISTURE, in_store
from wareleaf.works.house import Works
from wareleaf.works.settings import Product

router = APIRouter()

DRAW = "draw "  # a hidden field of the proposal: the lot follows, its value is kilograms


@router.get("/blend", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form)


def _page(
    request: Request, form: Entered, problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    works, site = session.works_of(request), session.site(request)
    products = [p for p in works.settings.product if p.site == site.id]
    product = _product(works, products, form)
    stock, left_out, notes = (
        in_store(works, site.id, product.leaf, product.form) if product else ([], [], [])
    )
    names = sorted({n for s in stock for n in s.properties}, key=_place)
    context: dict[str, Any] = {
        "products": products,
        "product": product,
        "stock": stock,
        "stock_kg": sum(s.lot.remaining_mass_g for s in stock) / 1000.0,
        "first": [n for n in names if n == MOISTURE or n.startswith("grade:")],
        "rest": [n for n in names if n != MOISTURE and not n.startswith("grade:")],
        "customers": [(c.id, f"{c.name}, {c.market}") for c in works.settings.customer],
        "left_out": left_out,
        "notes": notes,
        "proposal": None,
        "form": form,
    }
    if product and form.get("mass_kg") and not problems:
        try:
            order = _order(product, names, form)
            context["proposal"] = propose(works, [order])
        except BadInput as error:
            problems, status = error.problems, 422
    data = {k: context[k] for k in ("product", "stock", "proposal", "left_out", "notes")}
    return show(request, "blend.html", context, data=data, problems=problems, status=status)


def _product(works: Works, products: Sequence[Product], form: Entered) -> Product | None:
    if form.get("product"):
        return works.settings.product_of(form.get("product"))
    return products[0] if products else None


def _place(name: str) -> tuple[bool, bool, str]:
    """Moisture first, then grades, then what the laboratory found."""
    return (name != MOISTURE, not name.startswith("grade:"), name)


def _order(product: Product, names: Sequence[str], form: Entered) -> Order:
    """What is wanted, as typed."""
    limits = {}
    for name in names:
        words, per = property_name(name), property_per(name)
        low = form.maybe(f"low {name}", f"Lowest {words}", per)
        high = form.maybe(f"high {name}", f"Highest {words}", per)
        if low is not None or high is not None:
            limits[name] = Limit(low, high)
    lots = form.maybe("max_lots", "Most lots")
    order = Order(
        order_id=form.get("order_id") or "the order",
        product_id=product.id,
        mass_kg=form.number("mass_kg", "Weight"),
        customer_id=form.get("customer"),
        limits=limits,
        max_lots=None if lots is None else round(lots),
        min_draw_kg=form.maybe("min_draw_kg", "Smallest draw"),
    )
    form.check()
    return order


@router.post("/blend", include_in_schema=False)
def make(request: Request, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        draws = {
            name.removeprefix(DRAW): form.number(name, f"Kilograms of {name.removeprefix(DRAW)}")
            for name in form.values
            if name.startswith(DRAW)
        }
        form.check()
        made = make_blend(
            works,
            session.person(request).id,
            draws,
            product_id=form.get("product"),
            order_id=form.get("order_id"),
            document=form.get("document"),
            note=form.get("note"),
        )
        session.say(request, f"Blended: {made.lot_id}. It needs its own release before it ships.")
        return f"/lots/{made.lot_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))
