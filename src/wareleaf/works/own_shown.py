"""What own rates and own paces have in common: each run forecast twice, and which came nearer.

``plain`` is the forecast without what the works' runs taught: at the profile's rate, or the hours
as set. ``own`` is the one with it. Neither has seen the run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from wareleaf.leaf.learned import LearnedRate
from wareleaf.works.holdout import Pair
from wareleaf.works.holdout_score import Score, score
from wareleaf.works.house import Works
from wareleaf.works.predict.base import OwnRate
from wareleaf.works.runs_done import Done
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class RunTwice:
    """One run, forecast without and with what the runs before it taught.

    Parameters
    ----------
    run_id : str
        Which.
    at : datetime
        When it was weighed off, on the works' clock.
    plain, own : Pair or None
        Moisture, wet basis; theaflavin of infusion solids; or hours. None where nothing was
        measured to hold it against. ``own`` is ``plain`` while too few runs went before.
    taught_by : int
        Runs before it that told; 0 while ``plain`` stands.
    """

    run_id: str
    at: datetime
    plain: Pair | None
    own: Pair | None
    taught_by: int


@dataclass(frozen=True)
class OwnView:
    """One leaf on one machine.

    Parameters
    ----------
    machine : Equipment
        From the settings.
    leaf : str
        Profile.
    learned : LearnedRate or None
        From all runs so far, the latest ``MOST_RUNS``; None when none tells.
    runs : tuple of RunTwice
        In order of finishing.
    left_out : tuple of (str, str)
        Run and why it says nothing.
    plain_score, own_score : Score or None
        Of the runs that had an own forecast; the same runs for both.
    """

    machine: Equipment
    leaf: str
    learned: LearnedRate | None
    runs: tuple[RunTwice, ...]
    left_out: tuple[tuple[str, str], ...]
    plain_score: Score | None
    own_score: Score | None


View = TypeVar("View", bound=OwnView)


def views_of(
    works: Works,
    site: str,
    stages: Iterable[str],
    view: Callable[[Works, Equipment, str], View | None],
) -> list[View]:
    """Every leaf on every machine of these stages at a site, most runs first.

    Raises
    ------
    BadInput
        For an unknown site.
    """
    works.settings.site_of(site)
    machines = [m for m in works.settings.equipment if m.site == site and m.stage in stages]
    seen = (view(works, m, leaf_id) for m in machines for leaf_id in leaves_on(works, m))
    found = [v for v in seen if v is not None]
    return sorted(found, key=lambda v: (-len(v.runs), v.machine.id, v.leaf))


def leaves_on(works: Works, machine: Equipment) -> list[str]:
    """Leaf that may have gone on a machine: what the works takes in and what its runs took."""
    runs = works.book.runs(site=machine.site)
    lots = {r.lots[0] for r in runs if r.equipment == machine.id and r.lots}
    ran = {lot.leaf for lot in works.book.lots(ids=sorted(lots))} if lots else set()
    return sorted({s.leaf for s in works.settings.source} | ran)


def twice(
    works: Works, done: Done, plain: Pair | None, own: Pair | None, taught: OwnRate | None
) -> RunTwice:
    """A run with its two forecasts; ``own`` counts only where runs before it taught."""
    at = done.finished_at.astimezone(works.settings.zone)
    if taught is None:
        return RunTwice(done.run_id, at, plain, plain, 0)
    return RunTwice(done.run_id, at, plain, own, taught.runs)


def compared(runs: Iterable[RunTwice]) -> tuple[list[Pair], list[Pair]]:
    """The plain forecasts and the own ones of the runs that had an own one."""
    both = [(r.plain, r.own) for r in runs if r.taught_by and r.plain and r.own]
    return [p for p, _ in both], [o for _, o in both]


def scores(runs: Iterable[RunTwice]) -> tuple[Score | None, Score | None]:
    """Of the plain forecasts and of the own ones; None for both while no run had an own one."""
    plain, own = compared(runs)
    return (score(plain), score(own)) if own else (None, None)
