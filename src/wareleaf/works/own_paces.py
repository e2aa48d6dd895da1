"""What finished runs taught of the hours of each machine, and what that is worth.

Every run of a wash, bath, roller, sifter or mill is forecast twice, with the hours as set and with
the pace that the runs finished before it had taught. Neither has seen the run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.leaf.learned import FEWEST, LearnedRate
from wareleaf.works.holdout import Pair
from wareleaf.works.holdout_score import Score, score
from wareleaf.works.house import Works
from wareleaf.works.own_rates import leaves_on
from wareleaf.works.predict.own_pace import (
    LOT_LOG_SD,
    PACED,
    RunHours,
    hours_of,
    learn_pace,
    pace_of,
)
from wareleaf.works.predict.own_rate import LOOK_BACK, MOST_RUNS, earlier
from wareleaf.works.runs_done import Done, runs_done
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class RunTimed:
    """Hours of one run as set and with the pace of the runs before it.

    Parameters
    ----------
    run_id : str
        Which.
    at : datetime
        When it was weighed off, on the works' clock.
    as_set, own : Pair
        Hours. ``own`` is as set while too few runs went before.
    taught_by : int
        Runs before it that told; 0 while the hours as set stand.
    """

    run_id: str
    at: datetime
    as_set: Pair
    own: Pair
    taught_by: int


@dataclass(frozen=True)
class PaceView:
    """The hours of one leaf on one machine.

    Parameters
    ----------
    machine : Equipment
        From the settings.
    leaf : str
        Profile.
    learned : LearnedRate or None
        Hours taken over hours as set, from the latest `MOST_RUNS`; None when no run tells.
    runs : tuple of RunTimed
        In order of finishing.
    left_out : tuple of (str, str)
        Run and why it says nothing.
    as_set_score, own_score : Score or None
        Of the runs that had an own pace, hours; the same runs for both.
    """

    machine: Equipment
    leaf: str
    learned: LearnedRate | None
    runs: tuple[RunTimed, ...]
    left_out: tuple[tuple[str, str], ...]
    as_set_score: Score | None
    own_score: Score | None

    @property
    def sentence(self) -> str:
        """What it comes to, for people."""
        found = self.learned
        if found is None:
            return "No finished run tells of its hours yet."
        if not found.enough:
            return (
                f"{found.n} run{'s' if found.n != 1 else ''} so far; {FEWEST} are needed to tell."
            )
        span = f"{100 * (found.low - 1):+.0f} to {100 * (found.high - 1):+.0f} %, {found.n} runs"
        if not found.differs:
            said = f"Runs take the hours as set, within what they can tell ({span})."
        else:
            side = "longer" if found.multiplier > 1.0 else "shorter"
            share = 100.0 * abs(found.multiplier - 1.0)
            said = f"Runs take {share:.0f} % {side} than the settings say ({span})."
        return f"{said} {self.drift}"

    @property
    def drift(self) -> str:
        """Whether the hours drift, for people."""
        if self.learned is None or not self.learned.course.drifting:
            return "" if self.learned is None else self.learned.course.sentence
        return (
            f"They drift: {100 * self.learned.course.change_share:+.0f} % from first to last. Look "
            "at the machine, the loads and how runs are booked."
        )


def own_paces(works: Works, site: str) -> list[PaceView]:
    """Every leaf on every wash, bath, roller, sifter and mill of a site that has finished runs.

    Raises
    ------
    BadInput
        For an unknown site.
    """
    works.settings.site_of(site)
    found = [
        view
        for machine in works.settings.equipment
        if machine.site == site and machine.stage in PACED
        for leaf_id in leaves_on(works, machine)
        if (view := _view(works, machine, leaf_id)) is not None
    ]
    return sorted(found, key=lambda v: (-len(v.runs), v.machine.id, v.leaf))


def _view(works: Works, machine: Equipment, leaf_id: str) -> PaceView | None:
    done = runs_done(works, machine, leaf_id, works.now() - LOOK_BACK)
    if not done:
        return None
    timed = [hours_of(works, machine, d) for d in done]
    runs = []
    for each in timed:
        if each.why_not():
            continue
        before = earlier(done, each.done.started_at)
        runs.append(_timed(works, machine, leaf_id, each, before))
    taught = [r for r in runs if r.taught_by]
    return PaceView(
        machine=machine,
        leaf=leaf_id,
        learned=learn_pace(timed[-MOST_RUNS:]),
        runs=tuple(runs),
        left_out=tuple((t.done.run_id, why) for t in timed if (why := t.why_not())),
        as_set_score=score([r.as_set for r in taught]) if taught else None,
        own_score=score([r.own for r in taught]) if taught else None,
    )


def _timed(
    works: Works, machine: Equipment, leaf_id: str, run: RunHours, before: Sequence[Done]
) -> RunTimed:
    pace = pace_of(works, machine, leaf_id, before) if len(before) >= FEWEST else None
    as_set = own = Pair(run.as_set_h, run.done.hours, LOT_LOG_SD * run.as_set_h, 0.0)
    if pace is not None:
        hours = run.as_set_h * pace.multiplier
        own = Pair(hours, run.done.hours, hours * pace.relative_sd, 0.0)
    at = run.done.finished_at.astimezone(works.settings.zone)
    return RunTimed(run.done.run_id, at, as_set, own, 0 if pace is None else pace.runs)


def worth_of_paces(views: Sequence[PaceView]) -> str:
    """One sentence on what the own paces are worth; empty while too few runs had one."""
    runs = [r for v in views for r in v.runs if r.taught_by]
    if len(runs) < FEWEST:
        return ""
    as_set, own = score([r.as_set for r in runs]), score([r.own for r in runs])
    return (
        f"Over {len(runs)} runs the works' own pace missed the hours by {60 * own.rms:.1f} minutes "
        f"(root mean square), the hours as set by {60 * as_set.rms:.1f}. Its 95 % band held "
        f"{own.inside} of {own.banded}; that of the hours as set {as_set.inside}."
    )
