"""Predicted against measured: how good the forecasts were that operators were shown.

A forecast is kept with the event that starts its run, before anything is known of how the run
ends, so every finished run is a trial that the forecast has not seen. For each group of runs this
job says the bias and spread of outlet moisture, hours and mass, and which share of outcomes fell
in the 95 % band that was stated. A run without a kept forecast (an imported one) is counted and
left out.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from wareleaf.book import Event
from wareleaf.works.holdout_score import Score, score
from wareleaf.works.house import Works

QUANTITIES: Mapping[str, tuple[float, str]] = {
    "moisture_wb": (100.0, "points"),
    "hours": (1.0, "h"),
    "mass_kg": (1.0, "kg"),
}
"""What is compared: factor and unit for people."""

LEVELS: Mapping[str, tuple[str, ...]] = {
    "stage": ("stage",),
    "machine": ("stage", "equipment"),
    "leaf": ("stage", "equipment", "leaf"),
    "month": ("stage", "equipment", "leaf", "month"),
}
"""How runs are grouped, coarse to fine."""


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
    month : str
        Of the start, such as ``2026-04``.
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
    started_at: datetime
    finished_at: datetime
    pairs: Mapping[str, Pair]


@dataclass(frozen=True)
class Group:
    """The runs of a stage, a machine, a leaf or a month together.

    Parameters
    ----------
    level : str
        A key of `LEVELS`.
    stage, equipment, leaf, month : str
        Empty where the level does not part them.
    name : str
        For people.
    runs : int
        Outcomes.
    scores : mapping of str to Score
        By quantity.
    sentences : tuple of str
        What it comes to.
    """

    level: str
    stage: str
    equipment: str
    leaf: str
    month: str
    name: str
    runs: int
    scores: Mapping[str, Score]
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Holdout:
    """The whole report.

    Parameters
    ----------
    groups : tuple of Group
        Coarse to fine within each stage.
    outcomes : tuple of Outcome
        In order of start.
    skipped : mapping of str to int
        Runs left out, by reason.
    sentences : tuple of str
        One or more for each machine that has enough runs to tell.
    """

    groups: tuple[Group, ...]
    outcomes: tuple[Outcome, ...]
    skipped: Mapping[str, int] = field(default_factory=dict)
    sentences: tuple[str, ...] = ()


def holdout(
    works: Works,
    site: str | None = None,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Holdout:
    """Hold every kept forecast against what came.

    Parameters
    ----------
    works : Works
        The open works.
    site : str or None
        Only this site.
    since, until : datetime or None
        Only runs that started from and before then.

    Raises
    ------
    BadInput
        For an unknown site.
    """
    if site is not None:
        works.settings.site_of(site)
    found, skipped = outcomes(works, site, since=since, until=until)
    groups = tuple(_groups(works, found))
    return Holdout(
        groups=groups,
        outcomes=tuple(found),
        skipped=dict(skipped),
        sentences=tuple(s for g in groups if g.level == "machine" for s in g.sentences),
    )


def outcomes(
    works: Works,
    site: str | None = None,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
) -> tuple[list[Outcome], Counter[str]]:
    """Finished runs with their forecasts, and the count of those left out by reason."""
    kinds = ("stage_started", "stage_finished")
    events = works.book.events_in_force(kind=kinds, since=since, site=site)
    starts = {
        e.facts["run_id"]: e
        for e in events
        if e.kind == "stage_started" and (until is None or e.happened_at < until)
    }
    skipped: Counter[str] = Counter()
    first = [s.facts["lots"][0] for s in starts.values()]
    leaf_of = {lot.lot_id: lot.leaf for lot in works.book.lots(ids=first)}
    found = []
    for event in events:
        start = starts.get(event.facts["run_id"]) if event.kind == "stage_finished" else None
        if start is None:
            continue
        if not isinstance(start.facts.get("predicted"), Mapping):
            skipped["no forecast was kept (imported, or typed in later)"] += 1
        elif not event.outputs:
            skipped["nothing came off"] += 1
        else:
            leaf = leaf_of[start.facts["lots"][0]]
            found.append(_outcome(works, start, event, leaf))
    found.sort(key=lambda o: (o.started_at, o.run_id))
    return found, skipped


def _outcome(works: Works, start: Event, end: Event, leaf: str) -> Outcome:
    began = start.happened_at.astimezone(works.settings.zone)
    return Outcome(
        run_id=start.facts["run_id"],
        stage=start.facts["stage"],
        equipment=start.facts["equipment"],
        site=start.site,
        leaf=leaf,
        month=f"{began:%Y-%m}",
        started_at=began,
        finished_at=end.happened_at.astimezone(works.settings.zone),
        pairs=_pairs(start, end),
    )


def _pairs(start: Event, end: Event) -> dict[str, Pair]:
    told: Mapping[str, Any] = start.facts["predicted"]
    mass_g = sum(m.mass_g for m in end.outputs)
    dry_g = sum(m.dry_g for m in end.outputs)
    mass_sd = math.hypot(*(m.mass_sd_g for m in end.outputs))
    dry_sd = math.hypot(*(m.dry_sd_g for m in end.outputs))
    moisture = 1.0 - dry_g / mass_g
    # What the weighing does not explain of the dry matter's spread is the moisture's.
    moisture_sd = math.sqrt(max(dry_sd**2 - ((1.0 - moisture) * mass_sd) ** 2, 0.0)) / mass_g
    hours = (end.happened_at - start.happened_at).total_seconds() / 3600.0
    # A forecast of hours without a spread says "not within what was looked at": no forecast.
    told_hours = told.get("duration_h") if told.get("duration_sd_h") is not None else None
    rows = (
        ("moisture_wb", told.get("moisture_wb_out"), moisture, moisture_sd, "moisture_wb_out_sd"),
        ("hours", told_hours, hours, 0.0, "duration_sd_h"),
        ("mass_kg", told.get("mass_out_kg"), mass_g / 1000.0, mass_sd / 1000.0, ""),
    )
    return {
        name: Pair(float(said), came, _number(told.get(sd_name)), came_sd)
        for name, said, came, came_sd, sd_name in rows
        if said is not None
    }


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _groups(works: Works, found: Sequence[Outcome]) -> Iterable[Group]:
    for level, keys in LEVELS.items():
        parts: dict[tuple[str, ...], list[Outcome]] = {}
        for outcome in found:
            parts.setdefault(tuple(getattr(outcome, k) for k in keys), []).append(outcome)
        for values in sorted(parts):
            key = dict(zip(keys, values, strict=True))
            yield _group(works, level, key, parts[values])


def _group(works: Works, level: str, key: Mapping[str, str], of: Sequence[Outcome]) -> Group:
    name = _name(works, key)
    scores = {
        q: score([o.pairs[q] for o in of if q in o.pairs])
        for q in QUANTITIES
        if any(q in o.pairs for o in of)
    }
    return Group(
        level=level,
        stage=key["stage"],
        equipment=key.get("equipment", ""),
        leaf=key.get("leaf", ""),
        month=key.get("month", ""),
        name=name,
        runs=len(of),
        scores=scores,
        sentences=tuple(s for q, each in scores.items() for s in SAY[q](name, each)),
    )


def _name(works: Works, key: Mapping[str, str]) -> str:
    machines = {m.id: m.name for m in works.settings.equipment}
    equipment = key.get("equipment", "")
    first = machines.get(equipment, equipment) if equipment else f"stage {key['stage']}"
    return ", ".join(part for part in (first, key.get("leaf", ""), key.get("month", "")) if part)


def _moisture(name: str, of: Score) -> list[str]:
    side = "too dry" if of.bias > 0.0 else "too wet"
    return of.sentences(name, "of moisture", side, 100.0, "points")


def _hours(name: str, of: Score) -> list[str]:
    side = "too short" if of.bias > 0.0 else "too long"
    return of.sentences(name, "of hours", side, 1.0, "h")


def _mass(name: str, of: Score) -> list[str]:
    side = "too light" if of.bias > 0.0 else "too heavy"
    return of.sentences(name, "of mass", side, 1.0, "kg")


SAY: Mapping[str, Callable[[str, Score], list[str]]] = {
    "moisture_wb": _moisture,
    "hours": _hours,
    "mass_kg": _mass,
}
"""What a score comes to, for people; which side of the truth a forecast lies depends on it."""
