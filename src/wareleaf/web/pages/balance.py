"""Balance: dry matter and mass of a day, in, out, lost and unexplained, and the days before.

Beside it what does not fit: the weights and moistures of the day, its week or the season so far,
reconciled with each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.book import DayBalance
from wareleaf.web import charts, session
from wareleaf.web.forms import Entered, asked
from wareleaf.web.kept import until_the_book_grows
from wareleaf.web.view import show
from wareleaf.works.close_day import day_balance, day_bounds
from wareleaf.works.house import Works
from wareleaf.works.reconcile_day import (
    ReconciledStretch,
    reconcile_between,
    reconcile_day,
    reconcile_stretch,
    season_of,
    week_of,
)

router = APIRouter()

DAYS = 14
SPANS = (("", "the day"), ("week", "its week"), ("season", "the season so far"))


@router.get("/balance", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    works, site = session.works_of(request), session.site(request)
    today = works.now().date()
    day = _day(form, today)
    span = form.get("fit")
    if span not in dict(SPANS):
        form.wrong("fit", f"What does not fit is asked of {span!r}; give week, season or nothing.")
    form.check()
    fit = until_the_book_grows(
        request, ("fit", site.id, day, span), lambda: _fit(works, site.id, day, span)
    )
    days = [day - timedelta(days=back) for back in range(DAYS)]
    table = [(each, day_balance(works, site.id, each)) for each in days]
    context: dict[str, Any] = {
        "day": day,
        "today": today,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1) if day < today else None,
        "balance": table[0][1],
        "table": table,
        "losses": sorted({*table[0][1].dry.losses_g, *table[0][1].mass.losses_g}),
        "picture": _picture(table),
        "fit": fit,
        "suspect_lots": {i for d in fit.doubts for i in (d.lot_id, *d.alike_lots)},
        "spans": SPANS,
        "span": span,
        "path": "/watch",
    }
    data = {"balance": table[0][1], "days": [b for _, b in table], "fit": _fit_data(fit)}
    return show(request, "balance.html", context, data=data)


def _day(form: Entered, today: date) -> date:
    typed = form.get("day")
    if not typed:
        return today
    try:
        found = date.fromisoformat(typed)
    except ValueError:
        form.wrong("day", f"Day is {typed!r}; it must be a date such as {today.isoformat()}.")
        return today
    if found > today:
        form.wrong("day", f"Day is {typed}; that day has not come yet.")
    return found


def _fit(works: Works, site_id: str, day: date, span: str) -> ReconciledStretch:
    """The weights and moistures of the chosen span against each other."""
    if span == "week":
        return reconcile_stretch(works, site_id, *week_of(day))
    if span == "season":
        _, end = day_bounds(works, day)
        return reconcile_between(works, site_id, season_of(works, site_id, end), end)
    return reconcile_day(works, site_id, day)


def _fit_data(fit: ReconciledStretch) -> dict[str, Any]:
    """What the page shows of it; the streams one by one are for `wareleaf reconcile --json`."""
    return {
        "start": fit.start,
        "end": fit.end,
        "tests": {
            name: side and side.global_test for name, side in (("dry", fit.dry), ("mass", fit.mass))
        },
        "counts": fit.counts,
        "lots": fit.lots,
        "doubts": fit.doubts,
        "sentences": fit.sentences,
    }


def _picture(table: Sequence[tuple[date, DayBalance]]) -> Any:
    """Unexplained dry matter of each day as a point with its 95 % band."""
    rows = [
        {
            "day": f"{day:%d %b}",
            "kg": b.dry.unexplained_g / 1000.0,
            "low": (b.dry.unexplained_g - 1.96 * b.dry.unexplained_sd_g) / 1000.0,
            "high": (b.dry.unexplained_g + 1.96 * b.dry.unexplained_sd_g) / 1000.0,
        }
        for day, b in reversed(table)
    ]
    x = {"field": "day", "type": "ordinal", "sort": None, "title": None}
    y = {"type": "quantitative", "title": "unexplained dry matter, kg"}
    return charts.vega(
        {
            "width": 400,
            "height": 210,
            "data": {"values": rows},
            "layer": [
                {
                    "mark": {"type": "rule", "color": charts.SOFT, "strokeDash": [4, 4]},
                    "data": {"values": [{"zero": 0.0}]},
                    "encoding": {"y": {"field": "zero", "type": "quantitative"}},
                },
                {
                    "mark": {
                        "type": "rule",
                        "strokeWidth": 5,
                        "color": charts.LEAF,
                        "opacity": 0.3,
                    },
                    "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
                },
                {
                    "mark": {"type": "point", "filled": True, "size": 70, "color": charts.INK},
                    "encoding": {"x": x, "y": {**y, "field": "kg"}},
                },
            ],
        }
    )
