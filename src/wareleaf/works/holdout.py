"""Predicted against measured: how good the forecasts were that operators were shown.

A forecast is kept with the event that starts its run, before anything is known of how the run
ends, so every finished run is a trial that the forecast has not seen. For each group of runs this
job says the bias and spread of outlet moisture, hours and mass, on an oxidation floor of the
theaflavin of its last sample, and which share of outcomes fell in the 95 % band that was stated. A
run without a kept forecast (an imported one) is counted and left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from wareleaf.works.holdout_runs import Outcome, Pair, outcomes
from wareleaf.works.holdout_score import Score, score
from wareleaf.works.house import Works

__all__ = ["Group", "Holdout", "Outcome", "Pair", "holdout", "outcomes"]

QUANTITIES: Mapping[str, tuple[float, str]] = {
    "moisture_wb": (100.0, "points"),
    "hours": (1.0, "h"),
    "mass_kg": (1.0, "kg"),
    "theaflavin": (100.0, "points"),
}
"""What is compared: factor and unit for people."""

LEVELS: Mapping[str, tuple[str, ...]] = {
    "stage": ("stage",),
    "season": ("stage", "season"),
    "machine": ("stage", "equipment"),
    "leaf": ("stage", "equipment", "leaf"),
    "month": ("stage", "equipment", "leaf", "month"),
}
"""How runs are grouped, coarse to fine."""


@dataclass(frozen=True)
class Group:
    """The runs of a stage, a season, a machine, a leaf or a month together.

    Parameters
    ----------
    level : str
        A key of `LEVELS`.
    stage, season, equipment, leaf, month : str
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
    season: str
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
        season=key.get("season", ""),
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
    rest = (key.get("season", ""), key.get("leaf", ""), key.get("month", ""))
    return ", ".join(part for part in (first, *rest) if part)


def _moisture(name: str, of: Score) -> list[str]:
    side = "too dry" if of.bias > 0.0 else "too wet"
    return of.sentences(name, "of moisture", side, 100.0, "points")


def _hours(name: str, of: Score) -> list[str]:
    side = "too short" if of.bias > 0.0 else "too long"
    return of.sentences(name, "of hours", side, 1.0, "h")


def _mass(name: str, of: Score) -> list[str]:
    side = "too light" if of.bias > 0.0 else "too heavy"
    return of.sentences(name, "of mass", side, 1.0, "kg")


def _theaflavin(name: str, of: Score) -> list[str]:
    side = "too low" if of.bias > 0.0 else "too high"
    return of.sentences(name, "of theaflavin", side, 100.0, "points")


SAY: Mapping[str, Callable[[str, Score], list[str]]] = {
    "moisture_wb": _moisture,
    "hours": _hours,
    "mass_kg": _mass,
    "theaflavin": _theaflavin,
}
"""What a score comes to, for people; which side of the truth a forecast lies depends on it."""
