"""The trace of a lot as a picture: where it came from on the left, where it went on the right.

Boxes are lots, lines are kilograms of dry matter. A wide column shows its heaviest lots and says
how many more there are; the tables below the picture list them all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from markupsafe import Markup, escape

from wareleaf.book import LotState
from wareleaf.works.trace_lot import TraceView

MOST_IN_COLUMN = 6
MOST_COLUMNS = 6
"""Of a short picture, which then fits a tablet without scrolling."""

BOX_W, BOX_H, GAP_X, GAP_Y, EDGE = 118.0, 60.0, 60.0, 20.0, 8.0


@dataclass(frozen=True)
class _Box:
    key: str
    column: int
    title: str
    line: str
    dry_kg: float
    link: str = ""
    tint: str = "#fffdf8"
    dash: bool = False


@dataclass(frozen=True)
class _Flow:
    left: str
    right: str
    dry_kg: float


def trace_graph(
    view: TraceView, page: str = "/trace/", *, query: str = "", short: bool = False
) -> Markup:
    """Draw a trace, left to right; a box leads to the ``page`` of its lot, with ``query`` behind.

    A ``short`` one folds the columns between where it came from and the steps next to the lot into
    one box that says how many lots are in it; the same on the way to the customers.
    """
    boxes, flows = _gather(view, page, query)
    if short:
        boxes, flows = _shorten(boxes, flows, view.lot.lot_id)
    boxes, flows = _cap(boxes, flows, view.lot.lot_id)
    columns: dict[int, list[_Box]] = {}
    for box in boxes:
        columns.setdefault(box.column, []).append(box)
    rows = max(len(c) for c in columns.values())
    height = rows * (BOX_H + GAP_Y) - GAP_Y + 2 * EDGE
    width = len(columns) * (BOX_W + GAP_X) - GAP_X + 2 * EDGE
    spot: dict[str, tuple[float, float]] = {}
    for at, column in enumerate(sorted(columns)):
        column_boxes = columns[column]
        tall = len(column_boxes) * (BOX_H + GAP_Y) - GAP_Y
        y = (height - tall) / 2.0
        for box in column_boxes:
            spot[box.key] = (EDGE + at * (BOX_W + GAP_X), y)
            y += BOX_H + GAP_Y
    drawn = "".join(_flow(f, spot, flows) for f in flows)
    drawn += "".join(_label(f, spot, flows) for f in flows)
    drawn += "".join(_box(b, *spot[b.key]) for b in boxes)
    return Markup(
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" style="min-width:{0.76 * width:.0f}px;'
        f'max-width:{1.25 * width:.0f}px" '
        f'role="group" aria-label="Trace of lot {escape(view.lot.lot_id)}">{drawn}</svg>'
    )


def _gather(view: TraceView, page: str, query: str) -> tuple[list[_Box], list[_Flow]]:
    depth = len(view.back.levels) - 1
    boxes: dict[str, _Box] = {}
    for node, column in (
        *((n, depth - n.level) for n in view.back.nodes),
        *((n, depth + n.level) for n in view.forward.nodes),
    ):
        lot = view.lots[node.lot_id]
        tint = "#fffdf8"
        if node.lot_id == view.lot.lot_id:
            tint = "#d9c58a"
        elif lot.remaining_mass_g:
            tint = "#e0f0e4"
        boxes.setdefault(
            node.lot_id,
            _Box(
                node.lot_id,
                column,
                node.lot_id,
                _what(lot, source=node.end and column < depth),
                node.dry_g / 1000.0,
                f"{page}{node.lot_id}{query}",
                tint,
            ),
        )
    flows = [
        _Flow(e.parent, e.child, e.dry_g / 1000.0) for e in (*view.back.edges, *view.forward.edges)
    ]
    last = max(b.column for b in boxes.values()) + 1
    for receipt in view.receipts:
        key = f"to {receipt.customer}"
        box = boxes.get(key) or _Box(key, last, receipt.customer, f"to {receipt.market}", 0.0)
        boxes[key] = replace(box, dry_kg=box.dry_kg + receipt.dry_from_lot_kg, tint="#e6e0d1")
        flows.append(_Flow(receipt.lot_id, key, receipt.dry_from_lot_kg))
    return list(boxes.values()), flows


def _what(lot: LotState, *, source: bool) -> str:
    """A source by its line or field, any other lot by what it is."""
    if source and lot.label:
        return lot.label
    grade = str(lot.attributes.get("grade", ""))
    return f"{lot.form}, {grade}" if grade else lot.form


def _cap(boxes: list[_Box], flows: list[_Flow], centre: str) -> tuple[list[_Box], list[_Flow]]:
    """Keep the heaviest of a wide column; the others go into one box that says how many."""
    kept: list[_Box] = []
    stands_for: dict[str, str] = {}
    for column in sorted({b.column for b in boxes}):
        here = [b for b in boxes if b.column == column]
        if len(here) <= MOST_IN_COLUMN:
            kept += here
            continue
        here.sort(key=lambda b: (b.key != centre, -b.dry_kg))
        shown, rest = here[: MOST_IN_COLUMN - 1], here[MOST_IN_COLUMN - 1 :]
        more = _Box(
            f"more {column}",
            column,
            f"and {len(rest)} more",
            "listed below",
            sum(b.dry_kg for b in rest),
            dash=True,
        )
        kept += [*shown, more]
        stands_for |= {b.key: more.key for b in rest}
    return kept, _joined(flows, stands_for)


def _joined(flows: list[_Flow], stands_for: Mapping[str, str]) -> list[_Flow]:
    """Flows between what is drawn; those within one box are left out."""
    joined: dict[tuple[str, str], float] = {}
    for flow in flows:
        left, right = (stands_for.get(end, end) for end in (flow.left, flow.right))
        if left != right:
            joined[left, right] = joined.get((left, right), 0.0) + flow.dry_kg
    return [_Flow(left, right, kg) for (left, right), kg in joined.items()]


def _shorten(boxes: list[_Box], flows: list[_Flow], centre: str) -> tuple[list[_Box], list[_Flow]]:
    """Fold the columns in the middle of a long way, so that `MOST_COLUMNS` are left."""
    columns = sorted({b.column for b in boxes})
    at = columns.index(next(b.column for b in boxes if b.key == centre))
    before, after = columns[:at], columns[at + 1 :]
    spare = MOST_COLUMNS - 1
    keep_before = min(len(before), max(3, spare - len(after)))
    keep_after = min(len(after), spare - keep_before)
    folds = [(before[1 : len(before) - keep_before + 2], len(before) > keep_before)]
    folds.append((after[keep_after - 2 : -1], len(after) > keep_after))
    for folded, needed in folds:
        if needed:
            boxes, flows = _fold(boxes, flows, folded)
    return boxes, flows


def _fold(
    boxes: list[_Box], flows: list[_Flow], columns: list[int]
) -> tuple[list[_Box], list[_Flow]]:
    """Put the boxes of some columns into one, through which flows what flows on."""
    inside = {b.key for b in boxes if b.column in columns}
    key = f"between {columns[0]}"
    joined = _joined(flows, dict.fromkeys(inside, key))
    onward = sum(f.dry_kg for f in joined if f.left == key)
    box = _Box(key, columns[0], f"{len(inside)} lots", "on the way", onward, dash=True)
    return [*(b for b in boxes if b.key not in inside), box], joined


def _ends(flow: _Flow, spot: dict[str, tuple[float, float]]) -> tuple[float, float, float, float]:
    (x1, y1), (x2, y2) = spot[flow.left], spot[flow.right]
    return x1 + BOX_W, y1 + BOX_H / 2.0, x2, y2 + BOX_H / 2.0


def _flow(flow: _Flow, spot: dict[str, tuple[float, float]], flows: Iterable[_Flow]) -> str:
    x1, y1, x2, y2 = _ends(flow, spot)
    most = max(f.dry_kg for f in flows) or 1.0
    thick = 2.0 + 10.0 * (flow.dry_kg / most) ** 0.5
    bend = (x2 - x1) / 2.0
    return (
        f'<path d="M{x1:.1f} {y1:.1f}C{x1 + bend:.1f} {y1:.1f} {x2 - bend:.1f} {y2:.1f} '
        f'{x2:.1f} {y2:.1f}" fill="none" stroke="#9db8ae" stroke-width="{thick:.1f}"/>'
    )


def _label(flow: _Flow, spot: dict[str, tuple[float, float]], flows: list[_Flow]) -> str:
    """Kilograms on a line, nearer to the end that has fewer lines."""
    x1, y1, x2, y2 = _ends(flow, spot)
    out = sum(f.left == flow.left for f in flows)
    into = sum(f.right == flow.right for f in flows)
    # Share of the way down from the left end; lines that cross would share a middle.
    down = 0.85 if out > into else 0.15
    x, y = (x1 + x2) / 2.0, y1 + (y2 - y1) * down
    words = _kilos(flow.dry_kg)
    wide = 7.6 * len(words) + 2.0
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y - 8:.1f}" width="{wide:.1f}" height="16" '
        f'fill="#f5f2ea"/><text x="{x:.1f}" y="{y + 4.5:.1f}" text-anchor="middle" '
        f'font-size="13" fill="#1c2725">{words}</text>'
    )


def _box(box: _Box, x: float, y: float) -> str:
    dash = ' stroke-dasharray="5 4"' if box.dash else ""
    inside = (
        f"<title>{escape(box.title)}, {escape(box.line)}: {_kilos(box.dry_kg)} dry matter</title>"
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{BOX_W:g}" height="{BOX_H:g}" rx="5" '
        f'fill="{box.tint}" stroke="#52605c"{dash}/>'
        + _line(x, y + 19, box.title, size=14, most=12, weight="700")
        + _line(x, y + 37, box.line, size=13, most=16)
        + _line(x, y + 54, _kilos(box.dry_kg), size=13, most=16)
    )
    return f'<a href="{escape(box.link)}">{inside}</a>' if box.link else f"<g>{inside}</g>"


def _line(x: float, y: float, text: str, *, size: int, most: int, weight: str = "400") -> str:
    short = text if len(text) <= most else text[: most - 1] + "…"
    return (
        f'<text x="{x + 8:.1f}" y="{y:.1f}" font-size="{size}" font-weight="{weight}" '
        f'fill="#1c2725">{escape(short)}</text>'
    )


def _kilos(mass_kg: float) -> str:
    digits = 0 if mass_kg >= 100.0 else 1 if mass_kg >= 1.0 else 2
    return f"{mass_kg:,.{digits}f} kg".replace(",", " ")
