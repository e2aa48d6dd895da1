"""The validation page as HTML and JSON: a picture and the numbers of every case, failing too."""

from __future__ import annotations

import html
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wareleaf import __version__
from wareleaf.measure import BadInput
from wareleaf.works.validate.case import Check, Outcome, Plot

WORDS = {"pass": "holds", "fail": "FAILS", "not run": "not run"}
_INK, _COLOURS = "#1d2a26", ("#1f5f8b", "#b3541e", "#3d7a3a", "#7a3d74", "#6b6b1e", "#8a1f2f")
STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #1d2a26; max-width: 62rem; margin: 2rem auto;
  padding: 0 1rem; background: #fff; }
table { border-collapse: collapse; width: 100%; margin: .6rem 0; font-size: .93rem; }
th, td { text-align: left; padding: .25rem .6rem; border-bottom: 1px solid #ccd4cf; }
td.n { text-align: right; font-variant-numeric: tabular-nums; }
section { border-top: 3px solid #1d2a26; margin-top: 2.2rem; }
.fail { border-left: 8px solid #8a1f2f; padding-left: 1rem; }
.word { font-weight: 700; }
.why { background: #f7ebe0; padding: .6rem .9rem; }
.source { color: #3f4a45; }
svg { max-width: 100%; height: auto; }
.scroll { overflow-x: auto; }
"""


def write(outcomes: Sequence[Outcome], out: Path) -> tuple[Path, Path]:
    """Write ``index.html`` and ``validation.json`` into a folder, made when it is missing.

    Raises
    ------
    BadInput
        When the folder cannot be made or written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        page, data = out / "index.html", out / "validation.json"
        body = json.dumps(as_data(outcomes), indent=1, ensure_ascii=False, allow_nan=False)
        data.write_text(body + "\n", "utf-8")
        page.write_text(as_html(outcomes), "utf-8")
    except OSError as error:
        raise BadInput(
            "out", str(out), f"out is {out}; it must be a folder that can be written: {error}."
        ) from error
    return page, data


def summary(outcomes: Sequence[Outcome]) -> dict[str, int]:
    """How many hold, fail, fail without a reason, and were not run."""
    return {
        "cases": len(outcomes),
        "pass": sum(o.status == "pass" for o in outcomes),
        "fail": sum(o.status == "fail" for o in outcomes),
        "fail_without_known_reason": sum(o.unexplained for o in outcomes),
        "not_run": sum(o.status == "not run" for o in outcomes),
        "checks": sum(len(o.found.checks) for o in outcomes if o.found),
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def as_data(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """Everything on the page as plain data; an open end of a range is null."""
    return {
        "wareleaf": __version__,
        "summary": summary(outcomes),
        "cases": [_case_data(o) for o in outcomes],
    }


def _case_data(outcome: Outcome) -> dict[str, Any]:
    case, found = outcome.case, outcome.found
    return {
        "id": case.id,
        "group": case.group,
        "title": case.title,
        "source": case.source,
        "tolerance": case.tolerance,
        "status": outcome.status,
        "explanation": outcome.explanation,
        "note": found.note if found else "",
        "seconds": round(outcome.seconds, 3),
        "checks": [_check_data(c) for c in found.checks] if found else [],
        "plot": {
            "x": found.plot.x_title,
            "y": found.plot.y_title,
            "lines": {n: [list(p) for p in line] for n, line in found.plot.lines.items()},
            "points": {n: [list(p) for p in line] for n, line in found.plot.points.items()},
        }
        if found
        else None,
    }


def _check_data(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "unit": check.unit,
        "expected": check.expected,
        "low": _number(check.low),
        "high": _number(check.high),
        "result": _number(check.result),
        "pass": check.holds,
    }


def as_html(outcomes: Sequence[Outcome]) -> str:
    """The page, complete in one file."""
    count = summary(outcomes)
    parts = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<title>Wareleaf validation</title>",
        f"<style>{STYLE}</style></head><body><main>",
        "<h1>What the predictions are held against</h1>",
        f"<p>Wareleaf {html.escape(__version__)}. {count['cases']} cases with {count['checks']} "
        f"numbers: {count['pass']} hold, {count['fail']} fail "
        f"({count['fail_without_known_reason']} without a known reason), "
        f"{count['not_run']} not run. A case that fails stays on this page with its reason.</p>",
        _contents(outcomes),
    ]
    group = ""
    for outcome in outcomes:
        if outcome.case.group != group:
            group = outcome.case.group
            parts.append(f"<h2>{html.escape(group)}</h2>")
        parts.append(_section(outcome))
    parts.append("</main></body></html>\n")
    return "\n".join(parts)


def _contents(outcomes: Sequence[Outcome]) -> str:
    rows = [
        f'<tr><td><a href="#{o.case.id}">{html.escape(o.case.title)}</a></td>'
        f"<td>{html.escape(o.case.group)}</td>"
        f'<td class="word">{WORDS[o.status]}</td></tr>'
        for o in outcomes
    ]
    head = "<tr><th>case</th><th>part</th><th>result</th></tr>"
    return f'<div class="scroll"><table>{head}{"".join(rows)}</table></div>'


def _section(outcome: Outcome) -> str:
    case, found = outcome.case, outcome.found
    mark = ' class="fail"' if outcome.status == "fail" else ""
    parts = [
        f'<section id="{case.id}"{mark}><h3>{html.escape(case.title)}: '
        f'<span class="word">{WORDS[outcome.status]}</span></h3>',
        f'<p class="source">Source: {html.escape(case.source)}. '
        f"Tolerance: {html.escape(case.tolerance)}</p>",
    ]
    if outcome.explanation:
        parts.append(f'<p class="why">{html.escape(outcome.explanation)}</p>')
    if found is not None:
        if found.note:
            parts.append(f"<p>{html.escape(found.note)}</p>")
        parts += [_table(found.checks), f'<div class="scroll">{picture(found.plot)}</div>']
    return "\n".join([*parts, "</section>"])


def _table(checks: Sequence[Check]) -> str:
    head = "<tr><th>number</th><th>source says</th><th>range</th><th>here</th><th></th></tr>"
    rows = "".join(
        f"<tr><td>{html.escape(c.name)} ({html.escape(c.unit)})</td>"
        f'<td class="n">{html.escape(c.expected)}</td><td class="n">{html.escape(c.tolerance)}</td>'
        f'<td class="n">{c.result:.6g}</td>'
        f'<td class="word">{WORDS["pass" if c.holds else "fail"]}</td></tr>'
        for c in checks
    )
    return f'<div class="scroll"><table>{head}{rows}</table></div>'


def picture(plot: Plot) -> str:
    """The plot as SVG, drawn here by vl-convert without a browser or a network."""
    import vl_convert

    names = [*plot.lines, *plot.points]
    scale = {"domain": names, "range": [_COLOURS[i % len(_COLOURS)] for i in range(len(names))]}
    y: dict[str, Any] = {"field": "y", "type": "quantitative", "title": plot.y_title}
    y["scale"] = {"type": "log"} if plot.log_y else {"zero": False}
    x = {"field": "x", "type": "quantitative", "title": plot.x_title, "scale": {"zero": False}}
    colour = {"field": "what", "type": "nominal", "title": None, "scale": scale}
    shared = {"x": x, "y": y, "color": colour}
    layers: list[dict[str, Any]] = []
    if plot.lines:
        dash = {"field": "what", "type": "nominal", "title": None, "legend": None, "sort": names}
        layers.append(
            {
                "data": {"values": _rows(plot.lines)},
                "mark": {"type": "line", "strokeWidth": 2.2},
                "encoding": {**shared, "strokeDash": dash},
            }
        )
    if plot.points:
        layers.append(
            {
                "data": {"values": _rows(plot.points)},
                "mark": {"type": "point", "filled": True, "size": 60},
                "encoding": shared,
            }
        )
    font = {"labelColor": _INK, "titleColor": _INK, "labelFontSize": 12, "titleFontSize": 12}
    spec = {
        "width": 620,
        "height": 240,
        "layer": layers,
        "config": {
            "background": "white",
            "font": "DejaVu Sans, sans-serif",
            "axis": font,
            "legend": {**font, "orient": "top", "columns": 3, "labelLimit": 260},
        },
    }
    drawn = str(vl_convert.vegalite_to_svg(json.dumps(spec, allow_nan=False), vl_version="5.20"))
    words = html.escape(f"{plot.y_title} over {plot.x_title}: {', '.join(names)}", quote=True)
    return drawn.replace("<svg ", f'<svg role="img" aria-label="{words}" ', 1)


def _rows(lines: Any) -> list[dict[str, Any]]:
    return [
        {"x": x, "y": y, "what": name}
        for name, line in lines.items()
        for x, y in line
        if math.isfinite(x) and math.isfinite(y)
    ]
