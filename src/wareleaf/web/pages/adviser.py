"""Where to aim: the moisture that keeps the limit, what over-drying costs, what spread costs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import charts, session
from wareleaf.web.forms import Entered, asked
from wareleaf.web.view import refused_status, show
from wareleaf.works.moisture_limits import LimitChoice, limit_choices
from wareleaf.works.moisture_money import (
    MoistureMoney,
    Wish,
    dryers,
    leaves_of,
    moisture_money,
    usual_pair,
)

router = APIRouter()

PERCENT = 100.0


@router.get("/adviser", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    works, machine, leaf = session.works_of(request), form.get("machine"), form.get("leaf")
    if machine:
        session.look_at(request, works.settings.equipment_of(machine).site)
    site = session.site(request)
    machines, leaf_ids = dryers(works, site.id), leaves_of(works, site.id)
    problems: Sequence[Problem] = ()
    limits: tuple[LimitChoice, ...] = ()
    status, found = 200, None
    if machines and leaf_ids:
        usual = usual_pair(works, site.id)
        machine, leaf = machine or usual[0], leaf or usual[1]
        try:
            limits = limit_choices(works, site.id, leaf)
            found = moisture_money(works, machine, leaf, _wish(form))
        except BadInput as error:
            problems, status = error.problems, refused_status(error)
    context: dict[str, Any] = {
        "machines": [(m.id, m.name) for m in machines],
        "leaves": leaf_ids,
        "machine": machine,
        "leaf": leaf,
        "limits": limits,
        "found": found,
        "picture": _picture(found) if found else None,
        "form": form,
        "path": "/watch",
    }
    return show(
        request, "adviser.html", context, data={"found": found}, problems=problems, status=status
    )


def _wish(form: Entered) -> Wish:
    """What was typed; what was left empty stays the works' own figure."""
    risk = form.maybe("risk", "Lots over the limit", PERCENT)
    wish = Wish(
        limit_id=form.get("limit"),
        risk=0.05 if risk is None else risk,
        price_per_kg=form.maybe("price_per_kg", "Price"),
        fuel_price_per_kg=form.maybe("fuel_price_per_kg", "Fuel"),
        dry_matter_kg_year=form.maybe("dry_matter_kg_year", "Dry matter a year"),
        aim_in_use_wb=form.maybe("aim_in_use_wb", "Aim in use", PERCENT),
        rework_cost_per_kg=form.maybe("rework_cost_per_kg", "Rework") or 0.0,
        without_strays=form.get("without_strays") == "yes",
    )
    form.check()
    return wish


def _picture(found: MoistureMoney) -> Any:
    """Curves of outlet moisture against the limit, and the lots that were measured as ticks."""
    rows = [
        {"x": x * PERCENT, "y": y * PERCENT, "what": name}
        for name, points in found.curves.items()
        for x, y in points
    ]
    x = {"field": "x", "type": "quantitative", "title": "outlet moisture, % wet basis"}
    limit = {"values": [{"x": found.limit.limit_wb * PERCENT, "name": "limit"}]}
    layers: list[dict[str, Any]] = [
        {
            "data": {"values": rows},
            "mark": {"type": "line", "strokeWidth": 2.5},
            "encoding": {
                "x": {**x, "scale": {"zero": False}, "axis": {"tickCount": 8}},
                "y": {"field": "y", "type": "quantitative", "axis": None},
                "color": {"field": "what", "type": "nominal", "title": None, "sort": None},
                "strokeDash": {"field": "what", "type": "nominal", "title": None, "sort": None},
            },
        },
        {
            "data": limit,
            "mark": {"type": "rule", "color": charts.STOP, "strokeWidth": 3},
            "encoding": {"x": x},
        },
        {
            "data": limit,
            "mark": {"type": "text", "align": "left", "dx": 5, "fontSize": 13,
                     "color": charts.STOP, "baseline": "top"},
            "encoding": {"x": x, "y": {"value": 2}, "text": {"field": "name"}},
        },
    ]  # fmt: skip
    if found.outlet_wb:
        layers.append(
            {
                "data": {"values": [{"x": m * PERCENT} for m in found.outlet_wb]},
                "mark": {"type": "tick", "color": charts.INK, "thickness": 1.5, "height": 12},
                "encoding": {"x": x, "y": {"value": 204}},
            }
        )
    return charts.vega({"width": 430, "height": 210, "layer": layers})
