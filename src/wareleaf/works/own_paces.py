"""What finished runs taught of the hours of each machine, and what that is worth.

Every run of a wash, bath, roller, sifter or mill is forecast twice, with the hours as set and with
the pace that the runs finished before it had taught. Neither has seen the run.
"""

from __future__ import annotations

from collections.abc import Sequence

from wareleaf.leaf.learned import FEWEST
from wareleaf.works.holdout import Pair
from wareleaf.works.holdout_score import score
from wareleaf.works.house import Works
from wareleaf.works.own_shown import OwnView, RunTwice, compared, scores, twice, views_of
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


class PaceView(OwnView):
    """The hours of one leaf on one machine; ``learned`` is hours taken over hours as set."""

    @property
    def sentence(self) -> str:
        """What it comes to, for people."""
        found = self.learned
        if found is None:
            return "No finished run tells of its hours yet."
        if not found.enough:
            return found.too_few
        if not found.differs:
            said = f"Runs take the hours as set, within what they can tell ({found.span})."
        else:
            side = "longer" if found.multiplier > 1.0 else "shorter"
            share = 100.0 * abs(found.multiplier - 1.0)
            said = f"Runs take {share:.0f} % {side} than the settings say ({found.span})."
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
    return views_of(works, site, PACED, _view)


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
    plain, own = scores(runs)
    return PaceView(
        machine=machine,
        leaf=leaf_id,
        learned=learn_pace(timed[-MOST_RUNS:]),
        runs=tuple(runs),
        left_out=tuple((t.done.run_id, why) for t in timed if (why := t.why_not())),
        plain_score=plain,
        own_score=own,
    )


def _timed(
    works: Works, machine: Equipment, leaf_id: str, run: RunHours, before: Sequence[Done]
) -> RunTwice:
    pace = pace_of(works, machine, leaf_id, before) if len(before) >= FEWEST else None
    as_set = own = Pair(run.as_set_h, run.done.hours, LOT_LOG_SD * run.as_set_h, 0.0)
    if pace is not None:
        hours = run.as_set_h * pace.multiplier
        own = Pair(hours, run.done.hours, hours * pace.relative_sd, 0.0)
    return twice(works, run.done, as_set, own, pace)


def worth_of_paces(views: Sequence[PaceView]) -> str:
    """One sentence on what the own paces are worth; empty while too few runs had one."""
    pairs = compared(r for v in views for r in v.runs)
    if len(pairs[1]) < FEWEST:
        return ""
    as_set, own = (score(each) for each in pairs)
    return (
        f"Over {own.n} runs the works' own pace missed the hours by {60 * own.rms:.1f} minutes "
        f"(root mean square), the hours as set by {60 * as_set.rms:.1f}. Its 95 % band held "
        f"{own.inside} of {own.banded}; that of the hours as set {as_set.inside}."
    )
