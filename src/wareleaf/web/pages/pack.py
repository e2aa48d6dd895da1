"""Pack: product, lots, packs, weights; the declared-weight check and how long packs keep dry."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput, Problem
from wareleaf.pack import ShelfLife, plan_for
from wareleaf.web import charts, session
from wareleaf.web.cautions import CAUTIONS
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.meters import meters_for
from wareleaf.web.view import refused_status, show
from wareleaf.works.charge import charge_of
from wareleaf.works.house import Works
from wareleaf.works.pack_lot import USUAL_CLIMATE, PackRun, keeps_dry, pack, weight_check
from wareleaf.works.settings import Product

router = APIRouter()


@router.get("/pack", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    return _page(request, form)


@router.post("/pack", include_in_schema=False)
def record(request: Request, form: Entered = Depends(entered)) -> Response:
    """Record a packing, or with ``do=check`` only look at the weights."""
    if form.get("do") == "check":
        return _page(request, form, look=True)
    works = session.works_of(request)

    def do() -> str:
        run = _run(form, _lots_kg(form))
        document, note = form.get("document"), form.get("note")
        form.check()
        who = session.person(request).id
        made = pack(works, who, run, document=document, note=note)
        session.remember(request, pack_scale=run.scale)
        return f"/pack/{made.lot_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, form, error.problems, refused_status(error))


def _run(form: Entered, lots_kg: Mapping[str, float | None]) -> PackRun:
    return PackRun(
        product_id=form.text("product", "Product"),
        lots_kg=lots_kg,
        packs=round(form.number("packs", "Packs made")),
        net_g=_weights(form),
        scale=form.get("scale"),
        film=form.get("film"),
        film_batch=form.get("film_batch"),
        label_batch=form.get("label_batch"),
        spill_kg=form.maybe("spill_kg", "Swept up") or 0.0,
    )


def _lots_kg(form: Entered) -> dict[str, float | None]:
    """Kilograms from each ticked lot; None, where nothing is typed, for all of it."""
    ticked = form.all("lot_ids")
    if not ticked:
        form.wrong("lot_ids", "No lot is ticked; tick what was packed.")
    return {lot_id: form.maybe(f"kg {lot_id}", f"Kilograms of {lot_id}") for lot_id in ticked}


def _weights(form: Entered) -> list[float]:
    """Net weights as typed or pasted: one to a line, or apart by spaces or semicolons."""
    found = []
    for word in re.split(r"[\s;]+", form.get("net_g")):
        if not word:
            continue
        try:
            found.append(float(word.strip(",").replace(",", ".")))
        except ValueError:
            form.wrong("net_g", f"{word!r} among the net weights is no number; type grams.")
            return []
    if not found:
        form.wrong("net_g", "No net weight is typed; weigh some packs.")
    return found


def _page(
    request: Request,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
    look: bool = False,
) -> Response:
    works, site = session.works_of(request), session.site(request)
    if form.get("lot"):
        site = works.settings.site_of(works.book.lot(form.get("lot")).site)
        session.look_at(request, site.id)
        form.values.setdefault("lot_ids", [form.get("lot")])
    products = [p for p in works.settings.product if p.site == site.id]
    product = _product(works, products, form)
    scales = meters_for(works, site.id, "net_g")
    lots = _lots_for(works, product) if product else []
    context: dict[str, Any] = {
        "products": products,
        "product": product,
        "lots": lots,
        "films": [(f.id, f"{f.name}, {f.wvtr_g_m2_day:g} g/m² a day") for f in works.settings.film],
        "scales": scales,
        "scale": session.remembered(request, "pack_scale", scales[0].id if scales else ""),
        "cautions": CAUTIONS["pack"],
        "form": form,
        "check": None,
        "plan": None,
        "life": None,
    }
    if look and product is not None and not problems:
        problems, status = _look(works, product, form, context)
    data = {k: context[k] for k in ("product", "lots", "check", "life")}
    return show(request, "pack.html", context, data=data, problems=problems, status=status)


def _product(works: Works, products: Sequence[Product], form: Entered) -> Product | None:
    """The product asked for, the one that a lot is meant for or fits, else the first."""
    if form.get("product"):
        return works.settings.product_of(form.get("product"))
    if form.get("lot"):
        lot = works.book.lot(form.get("lot"))
        meant = [p for p in products if p.id == lot.attributes.get("product")]
        fits = [p for p in products if p.leaf == lot.leaf and lot.form in (p.form, "blended")]
        for found in (*meant, *fits):
            return found
    return products[0] if products else None


def _lots_for(works: Works, product: Product) -> list[LotState]:
    """Lots that can be packed into a product, released ones and old ones first."""
    lots = works.book.lots(
        site=product.site, leaf=product.leaf, form=(product.form, "blended"), in_stock_only=True
    )
    free = [lot for lot in lots if not lot.on_runs and not lot.held_because]
    return sorted(free, key=lambda lot: (not lot.released_for, lot.made_at))


def _look(
    works: Works, product: Product, form: Entered, context: dict[str, Any]
) -> tuple[Sequence[Problem], int]:
    """Check the weights and the film without recording."""
    net_g, packs = _weights(form), round(form.number("packs", "Packs made"))
    try:
        form.check()
        context["plan"] = plan_for(packs)
        context["check"] = weight_check(product.nominal_g, packs, net_g)
    except BadInput as error:
        return error.problems, 422
    lots = works.book.lots(ids=form.all("lot_ids"))
    if lots:
        context |= _dryness(works, product, charge_of(lots, works.now()).moisture_wb, form)
    return (), 200


def _dryness(works: Works, product: Product, moisture_wb: float, form: Entered) -> dict[str, Any]:
    """How long packs closed at a moisture keep dry, with its picture, or why they do not."""
    try:
        life = keeps_dry(works, product.id, moisture_wb, film_id=form.get("film"))
    except BadInput as error:
        return {"life_trouble": str(error), "closed_at_wb": moisture_wb}
    return {
        "life": life,
        "closed_at_wb": moisture_wb,
        "climate": USUAL_CLIMATE[0],
        "picture": life_picture(life, product.moisture_wb_max),
    }


def life_picture(life: ShelfLife, limit_wb: float) -> Any:
    """Moisture of the pack over its days, with the product's limit."""
    course = [
        (days, 100.0 * moisture / (1.0 + moisture))
        for days, moisture in zip(life.series_days, life.series_moisture_db, strict=True)
    ]
    return charts.line_chart(
        {"leaf in the pack": course},
        x_title="days after packing",
        y_title="moisture, % wet basis",
        rules={f"may be {100.0 * limit_wb:.1f} %": 100.0 * limit_wb},
        width=400,
        height=200,
    )


@router.get("/pack/{lot_id}", include_in_schema=False)
def made(request: Request, lot_id: str) -> Response:
    works = session.works_of(request)
    lot = works.book.lot(lot_id)
    session.look_at(request, lot.site)
    event = next(
        (
            e
            for e in works.book.events_in_force(kind="pack", lot_id=lot_id)
            if lot_id in {m.lot_id for m in e.outputs}
        ),
        None,
    )
    if event is None:
        raise BadInput("lot_id", lot_id, f"{lot_id} was not made by packing.")
    facts = event.facts
    product = works.settings.product_of(str(facts["product"]))
    form = Entered([("film", str(facts["film"]))], request)
    context: dict[str, Any] = {
        "lot": lot,
        "event": event,
        "product": product,
        "check": weight_check(facts["nominal_g"], int(facts["packs"]), facts["net_g"]),
        "plan": plan_for(int(facts["packs"])),
        "film": works.settings.film_of(str(facts["film"])),
        "life": None,
        "path": "/pack",
        **_dryness(works, product, lot.moisture_wb, form),
    }
    keys = ("lot", "event", "check", "life")
    return show(request, "packed.html", context, data={k: context[k] for k in keys})
