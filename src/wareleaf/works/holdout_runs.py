"""Forecasts as they were kept, beside what came: one row a finished run."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from wareleaf.works.house import Works
from wareleaf.works.runs_done import KINDS, Done, finished_of


@dataclass(frozen=True)
class Pair:
    """One number as it was forecast and as it came.

    Parameters
    ----------
    predicted, measured : float
        Same unit.
    predicted_sd : float or None
        One standard deviation as stated with the forecast; None when none was stated.
    measured_sd : float
        Of the measurement; 0 when it is not known to matter.
    """

    predicted: float
    measured: float
    predicted_sd: float | None
    measured_sd: float

    @property
    def error(self) -> float:
        """Measured less predicted."""
        return self.measured - self.predicted

    @property
    def inside(self) -> bool | None:
        """Whether it fell in the stated 95 % band, widened by the measurement's own doubt."""
        if self.predicted_sd is None:
            return None
        return abs(self.error) <= 1.96 * math.hypot(self.predicted_sd, self.measured_sd)


@dataclass(frozen=True)
class Outcome:
    """One finished run whose forecast was kept.

    Parameters
    ----------
    run_id, stage, equipment, site, leaf : str
        What ran where.
    month, season : str
        Of the start, such as ``2026-04`` and ``Mar-May 2026``.
    started_at, finished_at : datetime
        From start to weighed off.
    pairs : mapping
        By `QUANTITIES`; a quantity that was not forecast is missing.
    """

    run_id: str
    stage: str
    equipment: str
    site: str
    leaf: str
    month: str
    season: str
    started_at: datetime
    finished_at: datetime
    pairs: Mapping[str, Pair]


def outcomes(
    works: Works,
    site: str | None = None,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
) -> tuple[list[Outcome], Counter[str]]:
    """Finished runs with their forecasts, and the count of those left out by reason."""
    events = works.book.events_in_force(kind=KINDS, since=since, site=site)
    late = (
        e.facts["run_id"]
        for e in events
        if e.kind == "stage_started" and until is not None and e.happened_at >= until
    )
    left = set(late)
    done = [d for d in finished_of(works, events) if d.run_id not in left]
    skipped: Counter[str] = Counter()
    empty = sum(e.kind == "stage_finished" and not e.outputs for e in events)
    if empty:
        skipped["nothing came off"] = empty
    found = []
    for each in done:
        if isinstance(each.start.facts.get("predicted"), Mapping):
            found.append(_outcome(works, each))
        else:
            skipped["no forecast was kept (imported, or typed in later)"] += 1
    found.sort(key=lambda o: (o.started_at, o.run_id))
    return found, skipped


def season_of(at: datetime) -> str:
    """Three months from December, March, June or September on, with the year they end in."""
    first = at.month // 3 * 3 or 12
    year = at.year + (at.month == 12)
    return f"{SEASONS[first]} {year}"


SEASONS: Mapping[int, str] = {12: "Dec-Feb", 3: "Mar-May", 6: "Jun-Aug", 9: "Sep-Nov"}
"""Named by their months, so that they mean the same on both halves of the earth."""


def _outcome(works: Works, done: Done) -> Outcome:
    start = done.start
    began = done.started_at.astimezone(works.settings.zone)
    return Outcome(
        run_id=done.run_id,
        stage=start.facts["stage"],
        equipment=start.facts["equipment"],
        site=start.site,
        leaf=done.leaf,
        month=f"{began:%Y-%m}",
        season=season_of(began),
        started_at=began,
        finished_at=done.finished_at.astimezone(works.settings.zone),
        pairs=_pairs(done),
    )


def _pairs(done: Done) -> dict[str, Pair]:
    told: Mapping[str, Any] = done.start.facts["predicted"]
    # A forecast of hours without a spread says "not within what was looked at": no forecast.
    told_hours = told.get("duration_h") if told.get("duration_sd_h") is not None else None
    wet, wet_sd = done.moisture_wb, done.moisture_sd
    rows = (
        ("moisture_wb", told.get("moisture_wb_out"), wet, wet_sd, "moisture_wb_out_sd"),
        ("hours", told_hours, done.hours, 0.0, "duration_sd_h"),
        ("mass_kg", told.get("mass_out_kg"), done.mass_kg, done.mass_sd_kg, ""),
    )
    pairs = {
        name: Pair(float(said), came, _number(told.get(sd_name)), came_sd)
        for name, said, came, came_sd, sd_name in rows
        if said is not None
    }
    theaflavin = _theaflavin(told, done)
    return pairs if theaflavin is None else {**pairs, "theaflavin": theaflavin}


def _theaflavin(told: Mapping[str, Any], done: Done) -> Pair | None:
    """The last sample of a run on the floor against the forecast for its minute."""
    read = [r for r in done.read if r.quantity == "theaflavin_fraction"]
    course = told.get("theaflavin_course")
    if not read or not course:
        return None
    minutes, mean, sd = (np.array(column, dtype=float) for column in zip(*course, strict=True))
    at = 60.0 * read[-1].time_h
    if at > minutes[-1]:
        return None
    return Pair(
        float(np.interp(at, minutes, mean)),
        read[-1].value,
        float(np.interp(at, minutes, sd)),
        read[-1].standard_uncertainty,
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
