"""Learned: what the works' own runs taught the forecasts, and how good the forecasts were."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from wareleaf.web import charts, session
from wareleaf.web.view import show
from wareleaf.works.holdout import QUANTITIES, Holdout, Outcome, holdout
from wareleaf.works.own_paces import PaceView, own_paces, worth_of_paces
from wareleaf.works.own_rates import OwnRateView, own_rates, worth

router = APIRouter()

SHOWN = "moisture_wb"
_LOCK = threading.Lock()
_NAMES = {
    "moisture_wb": "Moisture",
    "hours": "Hours",
    "mass_kg": "Mass",
    "theaflavin": "Theaflavin",
}


_Reports = tuple[Holdout, list[OwnRateView], list[PaceView]]


def _found(request: Request, site_id: str) -> _Reports:
    """The reports on the book as it stands; kept until the book grows, for they read all runs."""
    works, state = session.works_of(request), request.app.state
    last = works.book.events(limit=1, newest_first=True)
    head = last[0].hash if last else ""
    with _LOCK:
        if getattr(state, "learned_at", None) != head:
            state.learned_at, state.learned = head, {}
        if site_id not in state.learned:
            rates, paces = own_rates(works, site_id), own_paces(works, site_id)
            state.learned[site_id] = (holdout(works, site_id), rates, paces)
        found: _Reports = state.learned[site_id]
        return found


@router.get("/learned", include_in_schema=False)
def page(request: Request) -> Response:
    site = session.site(request)
    report, rates, paces = _found(request, site.id)
    seasons = [g for g in report.groups if g.level == "season"]
    stages = list(dict.fromkeys(o.stage for o in report.outcomes if SHOWN in o.pairs))
    told = [v for v in rates if v.learned is not None]
    every: list[OwnRateView | PaceView] = [*rates, *paces]
    context: dict[str, Any] = {
        "rates": rates,
        "worth": worth(rates),
        "paces": paces,
        "pace_worth": worth_of_paces(paces),
        "drifting": [v for v in every if v.learned and v.learned.course.drifting],
        "seasons": seasons,
        "machine_said": report.sentences,
        "skipped": report.skipped,
        "quantities": {q: (_NAMES[q], *QUANTITIES[q]) for q in QUANTITIES},
        "pictures": [(s, _scatter([o for o in report.outcomes if o.stage == s])) for s in stages],
        "courses": [(v, _course(v)) for v in told if len(v.runs) > 1],
        "path": "/watch",
    }
    data = {"holdout": report, "own_rates": rates, "own_paces": paces}
    return show(request, "learned.html", context, data=data)


def _percent(field: str, title: str) -> dict[str, Any]:
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": {"zero": False, "nice": True},
    }


def _scatter(outcomes: Sequence[Outcome]) -> Any:
    """Moisture as forecast at the start against moisture as measured; on the line they agree."""
    rows = [
        {"told": 100.0 * o.pairs[SHOWN].predicted, "came": 100.0 * o.pairs[SHOWN].measured}
        for o in outcomes
        if SHOWN in o.pairs
    ]
    every = [v for row in rows for v in row.values()]
    ends = [{"told": v, "came": v} for v in (min(every), max(every))]
    x, y = _percent("told", "forecast, % wet basis"), _percent("came", "measured, % wet basis")
    line = {"type": "line", "color": charts.DUE, "strokeWidth": 2, "strokeDash": [7, 4]}
    dot = {"type": "point", "filled": True, "size": 50, "color": charts.LEAF, "opacity": 0.6}
    return charts.vega(
        {
            "width": 250,
            "height": 210,
            "layer": [
                {"data": {"values": ends}, "mark": line, "encoding": {"x": x, "y": y}},
                {"data": {"values": rows}, "mark": dot, "encoding": {"x": x, "y": y}},
            ],
        }
    )


def _course(view: OwnRateView) -> Any:
    """The works' own rate over the weeks with its 95 % band, and runs; the profile's rate is 1."""
    assert view.learned is not None
    course = view.learned.course
    lines = (course.multiplier, course.low, course.high, course.run_multiplier)
    rows = [
        {"at": f"{at:%Y-%m-%dT%H:%M:%S}Z", "mid": mid, "low": low, "high": high, "run": run}
        for at, mid, low, high, run in zip(view.times, *lines, strict=True)
    ]
    x = {
        "field": "at",
        "type": "temporal",
        "scale": {"type": "utc"},
        "axis": {"format": "%d %b", "title": None, "tickCount": 5},
    }
    y = _percent("mid", "times the profile's rate")
    band = {"type": "area", "color": charts.LEAF, "opacity": 0.2}
    line = {"type": "line", "color": charts.LEAF, "strokeWidth": 2.5}
    dot = {"type": "point", "filled": True, "size": 35, "color": charts.INK, "opacity": 0.6}
    return charts.vega(
        {
            "width": 330,
            "height": 150,
            "layer": [
                {
                    "data": {"values": rows},
                    "mark": band,
                    "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
                },
                {"data": {"values": rows}, "mark": line, "encoding": {"x": x, "y": y}},
                {
                    "data": {"values": rows},
                    "mark": dot,
                    "encoding": {"x": x, "y": {**y, "field": "run"}},
                },
                {
                    "data": {"values": [{"one": 1.0}]},
                    "mark": {"type": "rule", "color": charts.DUE, "strokeDash": [7, 4]},
                    "encoding": {"y": {"field": "one", "type": "quantitative"}},
                },
            ],
        }
    )
