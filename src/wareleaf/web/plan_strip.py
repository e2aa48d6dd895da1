"""The plan as a strip for each day: a row a machine, a bar a run, in plain SVG.

Every load has a letter that stands in all its bars and in the list beside the strip, so that short
bars can be read too. Warming up, outages and the time now are words in the picture as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from markupsafe import Markup, escape

from wareleaf.works.plan_day import DayPlan, PlannedRun
from wareleaf.works.settings import Equipment

WIDTH, NAMES, LANE, HEAD, FOOT, GAP = 1120.0, 150.0, 44.0, 26.0, 12.0, 6.0
INK, SOFT, GRID, WATER, DUE, STOP = "#1c2725", "#52605c", "#e0d9c8", "#2a7088", "#8a4b00", "#9b1c1c"
# Ground and edge of a load's bars; dark ink on all of them passes 4.5:1.
TINTS = (
    ("#cfe3d6", "#2f6b57"),
    ("#cde0ec", "#2a7088"),
    ("#f8dfb8", "#8a4b00"),
    ("#ded4ec", "#6a4c8c"),
    ("#f4d2ca", "#9b1c1c"),
    ("#e9e2b4", "#7a6a14"),
    ("#d8dde0", "#4a5560"),
)


@dataclass(frozen=True)
class Bar:
    """Something that takes a machine from one time to another."""

    start: datetime
    end: datetime
    kind: str
    letter: str = ""
    words: str = ""
    tint: int = 0


@dataclass
class Row:
    """A machine with its bars, in lanes so that none covers another."""

    name: str
    lanes: list[list[Bar]] = field(default_factory=lambda: [[]])

    def put(self, bar: Bar) -> None:
        """Lay a bar in the first lane that is free then."""
        for lane in self.lanes:
            if all(bar.end <= b.start or bar.start >= b.end for b in lane):
                lane.append(bar)
                return
        self.lanes.append([bar])


def letters(plan: DayPlan) -> dict[str, str]:
    """A letter for each load: A, B, ... Z, A1, B1, ..."""
    names = {}
    for at, load in enumerate(plan.loads):
        lap, place = divmod(at, 26)
        names[load.load_id] = chr(ord("A") + place) + (str(lap) if lap else "")
    return names


def strips(
    plan: DayPlan, machines: Sequence[Equipment], now: datetime
) -> list[tuple[date, Markup]]:
    """One strip for each day of a plan that has something on it.

    Parameters
    ----------
    plan : DayPlan
        As stored.
    machines : sequence of Equipment
        Of the site, in the order of their rows; those without a bar that day are left out.
    now : datetime
        On the works' clock.
    """
    zone = now.tzinfo
    found = []
    day = now.date()
    while day <= plan.until_at.astimezone(zone).date():
        midnight = datetime.combine(day, time(), zone)
        rows = _rows(plan, machines, midnight, midnight + timedelta(days=1))
        if rows:
            found.append((day, _strip(rows, midnight, now)))
        day += timedelta(days=1)
    return found


def _rows(
    plan: DayPlan, machines: Sequence[Equipment], start: datetime, end: datetime
) -> list[Row]:
    rows = {m.id: Row(m.name) for m in machines}
    named = letters(plan)
    order = list(named)
    bars: list[tuple[str, Bar]] = [
        (r.machine_id, _run_bar(r, named, order.index(r.load_id))) for r in plan.runs
    ]
    bars += [
        (x.machine_id, Bar(x.light_at, x.ready_at, "warm", words="heat up"))
        for x in plan.lightings
        if x.from_cold
    ]
    bars += [
        (o.machine_id, Bar(o.from_at, o.until_at, "out", words="out of order"))
        for o in plan.outages
    ]
    for machine_id, bar in sorted(bars, key=lambda b: b[1].start):
        if bar.start < end and bar.end > start and bar.end > bar.start and machine_id in rows:
            rows[machine_id].put(bar)
    return [row for row in rows.values() if row.lanes != [[]]]


def _run_bar(run: PlannedRun, named: Mapping[str, str], place: int) -> Bar:
    part = f" {run.part + 1}/{run.parts}" if run.parts > 1 else ""
    name = run.refs[0] if len(run.refs) == 1 and run.load_id == run.refs[0] else run.load_id
    kind = "running" if run.running else "run"
    return Bar(run.start_at, run.end_at, kind, named[run.load_id] + part, name, place % len(TINTS))


def _strip(rows: Sequence[Row], midnight: datetime, now: datetime) -> Markup:
    bars = [b for row in rows for lane in row.lanes for b in lane]
    first = max(midnight, min(b.start for b in bars))
    if midnight <= now < midnight + timedelta(days=1):
        first = max(first, now - timedelta(hours=1))
    last = min(midnight + timedelta(days=1), max(b.end for b in bars))
    first_h = int((first - midnight).total_seconds() // 3600)
    last_h = max(first_h + 2, -int(-(last - midnight).total_seconds() // 3600))
    scale = _Scale(midnight, float(first_h), (WIDTH - NAMES - 10.0) / (last_h - first_h))
    height = HEAD + FOOT + sum(len(r.lanes) * LANE + GAP for r in rows)
    parts = [_hours(scale, first_h, last_h, height)]
    y = HEAD
    for row in rows:
        parts.append(_row(row, scale, y, last_h))
        y += len(row.lanes) * LANE + GAP
    if midnight <= now < midnight + timedelta(hours=last_h):
        parts.append(_now(scale.x(now), height))
    return Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" '
        f'font-family="DejaVu Sans, sans-serif" font-size="13" fill="{INK}" aria-hidden="true">'
        '<defs><pattern id="slant" width="7" height="7" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="7" height="7" fill="#f0e9da"/>'
        '<rect width="2" height="7" fill="#c9bfa8"/></pattern></defs>' + "".join(parts) + "</svg>"
    )


@dataclass(frozen=True)
class _Scale:
    midnight: datetime
    first_h: float
    px_h: float

    def x(self, at: datetime) -> float:
        hours = (at - self.midnight).total_seconds() / 3600.0
        return NAMES + (hours - self.first_h) * self.px_h


def _hours(scale: _Scale, first_h: int, last_h: int, height: float) -> str:
    step = 1 if scale.px_h >= 58.0 else 2 if scale.px_h >= 26.0 else 4
    drawn = []
    for hour in range(first_h, last_h + 1):
        x = NAMES + (hour - scale.first_h) * scale.px_h
        drawn.append(
            f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{HEAD - 5:g}" y2="{height:g}" stroke="{GRID}"/>'
        )
        if (hour - first_h) % step == 0:
            anchor = "end" if hour == last_h else "middle"
            drawn.append(
                f'<text x="{x:.1f}" y="15" text-anchor="{anchor}" fill="{SOFT}">'
                f"{hour % 24:02d}:00</text>"
            )
    return "".join(drawn)


def _row(row: Row, scale: _Scale, y: float, last_h: int) -> str:
    height = len(row.lanes) * LANE
    right = NAMES + (last_h - scale.first_h) * scale.px_h
    drawn = [
        f'<rect x="{NAMES:g}" y="{y:g}" width="{right - NAMES:.1f}" height="{height:g}" '
        'fill="#fffdf8" fill-opacity="0.75"/>'
        f'<text x="0" y="{y + height / 2 + 5:g}" font-weight="700">{escape(row.name)}</text>'
    ]
    for at, lane in enumerate(row.lanes):
        for bar in lane:
            left = max(NAMES, scale.x(bar.start))
            end = min(right, scale.x(bar.end))
            if end > left:
                drawn.append(_bar(bar, left, end - left, y + at * LANE + 3.0))
    return "".join(drawn)


def _bar(bar: Bar, x: float, width: float, y: float) -> str:
    high = LANE - 6.0
    if bar.kind in ("warm", "out"):
        ground, edge = ("#fdecd0", DUE) if bar.kind == "warm" else ("url(#slant)", STOP)
        said = bar.words if width > 70.0 else bar.words.split(" ")[0] if width > 30.0 else ""
        return (
            f'<rect x="{x:.1f}" y="{y:g}" width="{width:.1f}" height="{high:g}" fill="{ground}" '
            f'stroke="{edge}" stroke-dasharray="4 3"/>'
            f'<text x="{x + 4:.1f}" y="{y + 23:g}" fill="{edge}" font-size="12">{said}</text>'
        )
    ground, edge = TINTS[bar.tint]
    thick = 3 if bar.kind == "running" else 1.2
    drawn = (
        f'<rect x="{x:.1f}" y="{y:g}" width="{max(width, 2):.1f}" height="{high:g}" rx="3" '
        f'fill="{ground}" stroke="{edge}" stroke-width="{thick:g}"/>'
    )
    room = width - 10.0
    letter = bar.letter if room >= 9.0 * len(bar.letter) else bar.letter.split(" ")[0]
    if room >= 9.0 * len(letter):
        drawn += f'<text x="{x + 5:.1f}" y="{y + 24:g}" font-weight="700" font-size="15">'
        drawn += f"{escape(letter)}</text>"
    inset = 12.0 + 10.0 * len(letter)
    if room - inset >= 7.6 * len(bar.words):
        drawn += f'<text x="{x + inset:.1f}" y="{y + 16:g}">{escape(bar.words)}</text>'
    hours = f"{bar.start:%H:%M}–{bar.end:%H:%M}"
    if room - inset >= 88.0:
        drawn += f'<text x="{x + inset:.1f}" y="{y + 32:g}" fill="{SOFT}">{hours}</text>'
    return drawn


def _now(x: float, height: float) -> str:
    return (
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="4" y2="{height:g}" stroke="{WATER}" '
        f'stroke-width="2" stroke-dasharray="2 3"/><text x="{x + 4:.1f}" y="{height - 4:g}" '
        f'fill="{WATER}" font-weight="700" font-size="12">now</text>'
    )
