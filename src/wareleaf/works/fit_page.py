"""A fit as a page: its constants, the curve through the readings, and the residuals.

A standard error is honest only when the residuals look like noise; that has to be seen. The page is
complete in one file and needs nothing from elsewhere.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from wareleaf.measure import BadInput
from wareleaf.works.validate.case import Plot
from wareleaf.works.validate.page import STYLE, picture

_SURE = 2.326  # normal deviate: noise is called a bow about once in a hundred fits
PLOTTED = ("fit-drying", "fit-sorption", "fit-trial")
_TITLES = {
    "fit-drying": "Drying curves fitted to a run",
    "fit-sorption": "Isotherms fitted to points",
    "fit-trial": "A trial fitted to its stage",
}
_OWN_STYLE = """
table { width: auto; min-width: 24rem; }
th.n { text-align: right; }
.pair { display: grid; grid-template-columns: 1fr; gap: .5rem; }
@media (min-width: 70rem) { body { max-width: 88rem; } .pair { grid-template-columns: 1fr 1fr; } }
"""
_TRIAL_AXES = {  # what lies along the page, its title, what was read, its title
    "wither": ("time_h", "hours", "reading_wb", "moisture, fraction wet basis"),
    "blanch": ("immersion_s", "seconds in the water", "iodine_mg_kg_dw", "iodine, mg/kg dry"),
    "oxidise": ("minutes", "minutes", "theaflavin_fraction", "theaflavin of infusion solids"),
    "colour": ("minutes", "minutes", "colour_index", "colour, the meter's own index"),
    "loss": ("hours", "hours", "kept", "share left"),
    "rates": ("temperature_c", "degC", "rate", "logarithm of the rate"),
    "roll": ("minutes", "minutes", "disruption", "share of broken cells"),
    "sieve": ("size_mm", "size, mm", "share_staying", "share that stays"),
    "sizes": ("size_mm", "aperture, mm", "share_coarser", "share coarser"),
    "mill": ("", "work by the law, kJ/kg", "work_kj_kg", "metered work, kJ/kg"),
}


_HEAT_OF = {"blanch": "temperature_c", "oxidise": "air_c", "loss": "leaf_c"}


def check_plotted(name: str) -> None:
    """Refuse a door that has no page."""
    if name not in PLOTTED:
        raise BadInput(
            "plot", name, f"{name} has no residual plot; these have: {', '.join(PLOTTED)}."
        )


def write(name: str, data: Mapping[str, Any], found: Mapping[str, Any], out: Path) -> None:
    """Write the page of a fit into a file.

    Raises
    ------
    BadInput
        For a door without a page, or a file that cannot be written.
    """
    text = as_html(name, data, found)
    try:
        out.write_text(text, "utf-8")
    except OSError as error:
        raise BadInput(
            "plot", str(out), f"plot is {out}; it must be a file that can be written: {error}."
        ) from error


def as_html(name: str, data: Mapping[str, Any], found: Mapping[str, Any]) -> str:
    """The page of a fit door's input and output."""
    check_plotted(name)
    best = min((f["aicc"] for f in found["fits"] if f["aicc"] is not None), default=None)
    said = "".join(f"<li>{html.escape(w)}</li>" for w in found["warnings"])
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{_TITLES[name]}</title><style>{STYLE}{_OWN_STYLE}</style></head><body><main>",
            f"<h1>{_TITLES[name]}</h1>",
            "<p>Best first. The standard errors hold only where the residuals look like noise: "
            "no bow, no trend, no one point far from the rest.</p>",
            *(_section(name, data, fit, best) for fit in found["fits"]),
            f"<h2>To keep in mind</h2><ul>{said}</ul>" if said else "",
            "</main></body></html>\n",
        ]
    )


def _section(name: str, data: Mapping[str, Any], fit: Mapping[str, Any], best: float | None) -> str:
    curve, left = plots(name, data, fit)
    behind = ""
    if fit["aicc"] is not None and best is not None and fit["aicc"] > best:
        behind = f", {fit['aicc'] - best:.1f} in AICc behind the best"
    return "\n".join(
        [
            f"<section><h2>{html.escape(fit['model'].replace('_', ' '))}</h2>",
            f"<p>RMSE {fit['rmse']:.3g}{behind}. {html.escape(looks(fit['residuals']))}</p>",
            _constants(fit),
            f'<div class="pair"><div>{picture(curve)}</div><div>{picture(left)}</div></div>',
            "</section>",
        ]
    )


def _constants(fit: Mapping[str, Any]) -> str:
    if "constants" in fit and isinstance(fit["constants"], list):
        rows = [(c["name"], c["value"], c["standard_error"], c["unit"]) for c in fit["constants"]]
    else:
        rows = [(n, c["value"], c["standard_error"], "") for n, c in fit["parameters"].items()]
    told = any(unit for *_, unit in rows)
    body = "".join(
        f"<tr><td>{html.escape(n)}</td><td class='n'>{_number(v, 4)}</td>"
        f"<td class='n'>{'not determined' if e is None else _number(e, 2)}</td>"
        + (f"<td>{html.escape(unit)}</td></tr>" if told else "</tr>")
        for n, v, e, unit in rows
    )
    head = "<tr><th>constant</th><th class='n'>value</th><th class='n'>standard error</th>"
    head += "<th>unit</th></tr>" if told else "</tr>"
    return f'<div class="scroll"><table>{head}{body}</table></div>'


def _number(value: float, digits: int) -> str:
    """A number as people write it: hundreds and more in full."""
    return f"{value:,.0f}" if 100.0 <= abs(value) < 1e9 else f"{value:.{digits}g}"


def looks(residuals: Sequence[float]) -> str:
    """Whether residuals in order look like noise, by how often their sign changes.

    Signs of noise change at half of the gaps, give or take half the square root of their number;
    far fewer changes mean that the curve bows away from the readings (runs test, textbook form).
    """
    signs = [r > 0.0 for r in residuals if r != 0.0]
    gaps = len(signs) - 1
    if gaps < 5:
        return "Too few readings to tell noise from a bow."
    changes = sum(a != b for a, b in pairwise(signs))
    few = 0.5 * gaps - _SURE * 0.5 * math.sqrt(gaps)
    told = f"The residuals change sign {changes} times in {gaps} gaps"
    if changes < few:
        return f"{told}; noise would near {0.5 * gaps:.0f}: the curve bows away from the readings."
    return f"{told}, as noise would."


def plots(name: str, data: Mapping[str, Any], fit: Mapping[str, Any]) -> tuple[Plot, Plot]:
    """The curve with the readings, and the residuals, of one fit."""
    along, x_title, read, y_title = _readings(name, data, fit)
    order = sorted(range(len(along)), key=lambda i: along[i])
    groups = _groups(name, data, len(along))
    lines: dict[str, list[tuple[float, float]]] = {}
    points: dict[str, list[tuple[float, float]]] = {}
    left: dict[str, list[tuple[float, float]]] = {}
    for i in order:
        tail = f", {groups[i]}" if groups[i] else ""
        lines.setdefault(f"fit{tail}", []).append((along[i], fit["predicted"][i]))
        points.setdefault(f"read{tail}", []).append((along[i], read[i]))
        left.setdefault(groups[i] or "read less fit", []).append((along[i], fit["residuals"][i]))
    ends = (along[order[0]], along[order[-1]])
    sd = fit["residual_sd"]
    band = {} if not math.isfinite(sd) else {
        "+2 sd": [(x, 2.0 * sd) for x in ends],
        "-2 sd": [(x, -2.0 * sd) for x in ends],
    }  # fmt: skip
    level = {"fit": [(x, 0.0) for x in ends], **band}
    return (
        Plot(x_title, y_title, lines, points),
        Plot(x_title, f"residual, {y_title}", level, left),
    )


def _readings(
    name: str, data: Mapping[str, Any], fit: Mapping[str, Any]
) -> tuple[list[float], str, list[float], str]:
    moisture = "moisture, kg/kg dry"
    if name == "fit-drying":
        return list(data["time_h"]), "hours", list(data["moisture_db"]), moisture
    if name == "fit-sorption":
        points = data["points"]
        return (
            [p["water_activity"] for p in points],
            "water activity",
            [p["moisture_db"] for p in points],
            moisture,
        )
    trial = data["trial"]
    x, x_title, y, y_title = _TRIAL_AXES[trial["stage"]]
    along = list(trial[x]) if x else list(fit["predicted"])
    read = [math.log(v) for v in trial[y]] if trial["stage"] == "rates" else list(trial[y])
    return along, x_title, read, y_title


def _groups(name: str, data: Mapping[str, Any], count: int) -> list[str]:
    """What tells readings apart on one page: their temperature, where there are several."""
    celsius: list[float] = []
    if name == "fit-sorption":
        celsius = [p["temperature_c"] for p in data["points"]]
    elif name == "fit-trial":
        celsius = data["trial"].get(_HEAT_OF.get(data["trial"]["stage"], ""), None) or []
    return [f"{t:g} degC" for t in celsius] if len(set(celsius)) > 1 else [""] * count
