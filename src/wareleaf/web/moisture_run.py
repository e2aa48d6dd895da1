"""The moisture run: a path from the leaf as it came to the moisture it must reach, seen at once.

The path is as wide as the leaf is wet (water per dry matter). Along it, equal steps are equal
ratios of that, which is about how drying uses up time once the surface is dry; so the slow end is
long and easy to read. A drop stands where the leaf is; the hatched stretch is how far that may be
off (95 %).
"""

from __future__ import annotations

import math
from collections.abc import Callable

from markupsafe import Markup, escape

from wareleaf.measure import moisture_db_from_wb

WIDTH, HEIGHT = 380.0, 104.0
LEFT, RIGHT, MIDDLE = 10.0, 330.0, 62.0
THICK, THIN = 21.0, 4.0
BEYOND = 1.12
STEPS = 24


def moisture_run(
    start_wb: float, now_wb: float, low_wb: float, high_wb: float, target_wb: float
) -> Markup:
    """Draw the run; empty when there is no way to go.

    Parameters
    ----------
    start_wb, now_wb, target_wb : float
        Moisture as it came, now, and aimed at, fraction wet basis.
    low_wb, high_wb : float
        Band in which it is now with 95 %.
    """
    start, target = moisture_db_from_wb(start_wb), moisture_db_from_wb(target_wb)
    if not (target > 0.0 and start - target > 1e-6):
        return Markup("")

    def place(moisture_wb: float) -> float:
        wet = moisture_db_from_wb(min(max(moisture_wb, 0.001), 0.98))
        part = math.log(start / wet) / math.log(start / target)
        return LEFT + min(max(part, 0.0), BEYOND) * (RIGHT - LEFT)

    def half(x: float) -> float:
        part = min((x - LEFT) / (RIGHT - LEFT), 1.0)
        wet = start * (target / start) ** part
        return THIN + (THICK - THIN) * (wet - target) / (start - target)

    here, wettest, driest = place(now_wb), place(high_wb), place(low_wb)
    end = LEFT + BEYOND * (RIGHT - LEFT)
    return Markup(
        f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" aria-hidden="true" focusable="false">'
        '<defs><pattern id="doubt" width="7" height="7" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="3" height="7" fill="#1c2725"/></pattern></defs>'
        + _stretch(LEFT, RIGHT, half, "#bfd9dc")
        + _stretch(LEFT, here, half, "#e4d9b4")
        + f'<rect x="{RIGHT:.1f}" y="{MIDDLE - THIN:.1f}" width="{end - RIGHT:.1f}" '
        f'height="{2 * THIN:.1f}" fill="#f0c9a0"/>'
        + _stretch(wettest, max(driest, wettest + 2.0), half, "url(#doubt)", 0.55)
        + f'<path d="M{RIGHT:.1f} {MIDDLE - 24:.1f}v48" stroke="#8a4b00" stroke-width="3"/>'
        + _drop(here)
        + _words(start_wb, now_wb, target_wb, here)
        + "</svg>"
    )


def _stretch(
    a: float, b: float, half: Callable[[float], float], fill: str, opacity: float = 1.0
) -> str:
    """A piece of the path between two places, with its curved edges."""
    xs = [a + (b - a) * i / STEPS for i in range(STEPS + 1)]
    edge = [f"{x:.1f} {MIDDLE - half(x):.1f}" for x in xs]
    edge += [f"{x:.1f} {MIDDLE + half(x):.1f}" for x in reversed(xs)]
    return f'<path d="M{"L".join(edge)}Z" fill="{fill}" opacity="{opacity:g}"/>'


def _drop(x: float) -> str:
    top = MIDDLE - 34.0
    return (
        f'<path d="M{x:.1f} {MIDDLE + 24:.1f}V{top:.1f}" stroke="#24433b" stroke-width="3"/>'
        f'<path d="M{x:.1f} {top - 6:.1f}c5 7 7 9 7 13a7 7 0 0 1-14 0c0-4 2-6 7-13z" '
        'fill="#2f6b57" stroke="#fffdf8" stroke-width="1.5"/>'
    )


def _words(start_wb: float, now_wb: float, target_wb: float, here: float) -> str:
    anchor = "start" if here < WIDTH * 0.62 else "end"
    beside = here + 13.0 if anchor == "start" else here - 13.0
    return (
        f'<text x="{beside:.1f}" y="32" text-anchor="{anchor}" font-size="17" font-weight="700" '
        f'fill="#1c2725">{escape(f"{now_wb * 100:.1f} %")}</text>'
        f'<text x="{LEFT:g}" y="101" font-size="13" fill="#52605c">'
        f"came with {start_wb * 100:.0f} %</text>"
        f'<text x="{WIDTH - 4:g}" y="101" text-anchor="end" font-size="13" fill="#8a4b00">'
        f"target {target_wb * 100:.1f} %</text>"
    )
