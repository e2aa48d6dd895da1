"""Pictures made on this machine: line charts through Vega-Lite, and two of our own in plain SVG.

vl-convert draws the charts because it renders Vega-Lite without a browser and without the network.
Every picture comes with words beside it; the SVG itself is hidden from screen readers by the
template that shows it.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from wareleaf.web.moisture_run import moisture_run
from wareleaf.web.trace_graph import trace_graph

__all__ = ["Line", "line_chart", "moisture_run", "run_chart", "trace_graph", "vega", "warm_up"]

INK, SOFT, GRID = "#1c2725", "#52605c", "#e4decf"
LEAF, WATER, DUE, STOP, SAND = "#2f6b57", "#2a7088", "#8a4b00", "#9b1c1c", "#b59a4a"
SERIES = (LEAF, WATER, DUE, "#6a4c8c", STOP, SAND)

_CONFIG = {
    "background": "transparent",
    "font": "DejaVu Sans, sans-serif",
    "view": {"stroke": None},
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "gridColor": GRID,
        "domainColor": SOFT,
        "tickColor": SOFT,
    },
    "legend": {"labelFontSize": 13, "titleFontSize": 13, "labelColor": INK, "orient": "top"},
    "range": {"category": list(SERIES)},
}

Line = Sequence[tuple[float, float]]


@lru_cache(maxsize=256)
def _drawn(spec: str) -> str:
    import vl_convert

    return str(vl_convert.vegalite_to_svg(spec, vl_version="5.20"))


def vega(spec: Mapping[str, Any]) -> Markup:
    """A Vega-Lite spec as inline SVG; the same content is drawn once."""
    whole = {"config": _CONFIG, **spec}
    return Markup(_drawn(json.dumps(whole, sort_keys=True, default=str, allow_nan=False)))


def warm_up() -> None:
    """Load the drawing engine in the background: its first picture takes seconds, the next none."""
    threading.Thread(target=_first_picture, name="charts", daemon=True).start()


def _first_picture() -> None:
    vega({"data": {"values": [{"x": 0, "y": 0}]}, "mark": "point", "width": 10, "height": 10})


def line_chart(
    lines: Mapping[str, Line],
    *,
    x_title: str,
    y_title: str,
    points: Line = (),
    rules: Mapping[str, float] | None = None,
    width: int = 640,
    height: int = 260,
) -> Markup:
    """Named lines over plain numbers, with loose points and named level lines."""
    rows = [{"x": x, "y": y, "what": name} for name, line in lines.items() for x, y in line]
    layers: list[dict[str, Any]] = [
        {
            "data": {"values": rows},
            "mark": {"type": "line", "strokeWidth": 2.5},
            "encoding": {
                "x": {"field": "x", "type": "quantitative", "title": x_title},
                "y": _measure("y", y_title),
                "color": {"field": "what", "type": "nominal", "title": None, "sort": None},
            },
        }
    ]
    if points:
        layers.append(
            {
                "data": {"values": [{"x": x, "y": y} for x, y in points]},
                "mark": {"type": "point", "filled": True, "size": 70, "color": INK},
                "encoding": {
                    "x": {"field": "x", "type": "quantitative"},
                    "y": {"field": "y", "type": "quantitative"},
                },
            }
        )
    for name, level in (rules or {}).items():
        layers += _level(name, level, DUE)
    return vega({"width": width, "height": height, "layer": layers})


def run_chart(
    started: datetime,
    time_h: Sequence[float],
    moisture_wb: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    *,
    readings: Sequence[tuple[datetime, float, float]] = (),
    target_wb: float | None = None,
    now: datetime | None = None,
    until_h: float | None = None,
    width: int = 660,
    height: int = 270,
) -> Markup:
    """The course of a run: expected moisture, its 95 % band, readings, the target and the time.

    Parameters
    ----------
    started : datetime
        Zero of ``time_h``, on the works' clock.
    time_h, moisture_wb, low, high : sequence of float
        As a `Prediction` has them; the band may be empty.
    readings : sequence of (datetime, float, float)
        When, moisture (fraction wet basis) and one standard uncertainty.
    target_wb : float or None
        Level line.
    now : datetime or None
        Upright line.
    until_h : float or None
        The course is cut here; all of it when None.
    """
    if until_h is not None:
        shown = max(2, sum(h <= until_h for h in time_h))
        time_h, moisture_wb = time_h[:shown], moisture_wb[:shown]
        low, high = low[:shown], high[:shown]
    banded = len(low) == len(time_h)
    rows = [
        {
            "at": _wall(started + timedelta(hours=h), started),
            "mid": m * 100.0,
            **({"low": low[i] * 100.0, "high": high[i] * 100.0} if banded else {}),
        }
        for i, (h, m) in enumerate(zip(time_h, moisture_wb, strict=True))
    ]
    layers: list[dict[str, Any]] = []
    if banded:
        layers.append(
            {
                "data": {"values": rows},
                "mark": {"type": "area", "color": LEAF, "opacity": 0.2},
                "encoding": {"x": _clock(), "y": _moisture("low"), "y2": {"field": "high"}},
            }
        )
    layers.append(
        {
            "data": {"values": rows},
            "mark": {"type": "line", "color": LEAF, "strokeWidth": 2.5},
            "encoding": {"x": _clock(), "y": _moisture("mid")},
        }
    )
    if readings:
        layers += _readings(readings, started)
    if target_wb is not None:
        layers += _level(f"target {target_wb * 100:.1f} %", target_wb * 100.0, DUE)
    if now is not None and time_h and now <= started + timedelta(hours=time_h[-1]):
        layers.append(
            {
                "data": {"values": [{"at": _wall(now, started)}]},
                "mark": {"type": "rule", "color": WATER, "strokeWidth": 2, "strokeDash": [2, 3]},
                "encoding": {"x": _clock()},
            }
        )
    return vega({"width": width, "height": height, "layer": layers})


def _readings(
    readings: Sequence[tuple[datetime, float, float]], started: datetime
) -> list[dict[str, Any]]:
    rows = [
        {
            "at": _wall(at, started),
            "mid": value * 100.0,
            "low": (value - 1.96 * sd) * 100.0,
            "high": (value + 1.96 * sd) * 100.0,
        }
        for at, value, sd in readings
    ]
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "rule", "color": INK, "strokeWidth": 2},
            "encoding": {"x": _clock(), "y": _moisture("low"), "y2": {"field": "high"}},
        },
        {
            "data": {"values": rows},
            "mark": {"type": "point", "filled": True, "color": INK, "size": 80, "opacity": 1},
            "encoding": {"x": _clock(), "y": _moisture("mid")},
        },
    ]


def _wall(at: datetime, like: datetime) -> str:
    """Wall-clock time marked as UTC, so that the drawing engine shows it unchanged."""
    return f"{at.astimezone(like.tzinfo):%Y-%m-%dT%H:%M:%S}Z"


def _clock() -> dict[str, Any]:
    return {
        "field": "at",
        "type": "temporal",
        "scale": {"type": "utc"},
        "axis": {"format": "%H:%M", "title": "time of day", "tickCount": 7},
    }


def _moisture(field: str) -> dict[str, Any]:
    return _measure(field, "moisture, % wet basis")


def _measure(field: str, title: str) -> dict[str, Any]:
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": {"zero": False, "nice": True},
    }


def _level(name: str, level: float, colour: str) -> list[dict[str, Any]]:
    data = {"values": [{"level": level, "name": name}]}
    y = {"field": "level", "type": "quantitative"}
    return [
        {
            "data": data,
            "mark": {"type": "rule", "color": colour, "strokeWidth": 2, "strokeDash": [7, 4]},
            "encoding": {"y": y},
        },
        {
            "data": data,
            "mark": {
                "type": "text",
                "align": "right",
                "baseline": "bottom",
                "dy": -4,
                "fontSize": 13,
                "color": colour,
            },
            "encoding": {"y": y, "x": {"value": "width"}, "text": {"field": "name"}},
        },
    ]
