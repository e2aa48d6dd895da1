"""The works' own pace: the hours that runs took over the hours that machine and settings say.

Carrying, filling, weighing off and a machine that runs slower than its plate are in no model, so a
works learns them: every finished run of a leaf on a machine gives the logarithm of hours taken over
hours as set, and `leaf.learned` adds them up as it adds up rates, with the settings as prior. A
forecast takes only runs that were finished before it. Hours that no pace in reach explains are a
mistake in the book (a finish typed in a day late) and say nothing.

The hours of dryers and troughs follow from their moisture (see `own_rate`), those of an oxidation
floor from the nose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from wareleaf.leaf.learned import LOG_RATES, LearnedRate, RatePrior, RateSeen, learn_rate
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.kept import kept_in
from wareleaf.works.predict import baths, sizing, tea
from wareleaf.works.predict.base import Ask, OwnRate, Prediction, asked_again
from wareleaf.works.predict.own_rate import key_of, noted, run_key
from wareleaf.works.runs_done import Done
from wareleaf.works.settings import Equipment

PACED: Mapping[str, Callable[[Ask], Prediction]] = {
    "wash": baths.predict_wash,
    "blanch": baths.predict_blanch,
    "roll": tea.predict_roll,
    "sift": sizing.predict_sift,
    "mill": sizing.predict_mill,
}
"""Stages whose hours are a pace, with the model of their hours as set."""

LOT_LOG_SD = 0.05  # of the hours from run to run, before any run: what the models state
CLOCK_SD_H = 0.29 / 60.0  # start and finish are noted to the minute: each even over one
_FORM = 1  # raise when the meaning of what is kept changes


@dataclass(frozen=True)
class OwnPace(OwnRate):
    """The works' own hours over those of machine and settings, learned from earlier runs."""

    @property
    def source(self) -> str:
        """For people."""
        return f"Hours from {self.runs} own runs: {self.multiplier:.2f} times those as set."


@dataclass(frozen=True)
class RunHours:
    """One finished run and its hours as set.

    Parameters
    ----------
    done : Done
        The run.
    as_set_h : float
        By the model at its settings, with the leaf that went on; 0 where it has none.
    trouble : str
        Why the run says nothing; empty when it does.
    """

    done: Done
    as_set_h: float = 0.0
    trouble: str = ""

    @property
    def log_pace(self) -> float:
        """Logarithm of hours taken over hours as set."""
        return math.log(max(self.done.hours, CLOCK_SD_H) / self.as_set_h)

    @property
    def log_sd(self) -> float:
        """Of that, from the clock."""
        return math.sqrt(2.0) * CLOCK_SD_H / max(self.done.hours, CLOCK_SD_H)

    def why_not(self) -> str:
        """Why it says nothing, for people; empty when it does."""
        if self.trouble or abs(self.log_pace) <= float(LOG_RATES[-1]):
            return self.trouble
        return (
            f"It is booked with {self.done.hours:.2f} h and {self.as_set_h:.2f} h were to be "
            "expected: look at its start and its finish."
        )


def own_pace(works: Works, machine: Equipment, leaf_id: str, before: datetime) -> OwnPace | None:
    """The pace of a leaf on a machine, from its runs that were finished before a time.

    None while fewer than `leaf.learned.FEWEST` runs tell, or for a stage whose hours are no pace.
    """
    if machine.stage not in PACED:
        return None
    found: OwnPace | None = noted(works, machine, leaf_id, before, pace_of)
    return found


def pace_of(works: Works, machine: Equipment, leaf_id: str, done: Sequence[Done]) -> OwnPace | None:
    """The pace that these runs teach; computed once for the same runs and hours."""
    runs = [(run_key(works, machine, d), d.finished_at) for d in done]
    key = key_of(_FORM, "own pace", machine.rate_kg_h, runs)
    made = kept_in(works).get(key, lambda: _learned(works, machine, done))
    return OwnPace(**made) if made else None


def _learned(works: Works, machine: Equipment, done: Sequence[Done]) -> dict[str, float]:
    found = learn_pace([hours_of(works, machine, d) for d in done])
    if found is None or not found.enough:
        return {}
    return asdict(OwnPace(found.n, found.now_log_mean, found.now_log_sd, found.lot_log_sd))


def learn_pace(runs: Sequence[RunHours]) -> LearnedRate | None:
    """What finished runs of one leaf on one machine teach; None when none of them tells."""
    seen = [
        RateSeen(r.done.finished_at.timestamp() / 86400.0, r.log_pace, r.log_sd, r.done.run_id)
        for r in runs
        if not r.why_not()
    ]
    return learn_rate(seen, RatePrior(lot_log_sd=LOT_LOG_SD)) if seen else None


def hours_of(works: Works, machine: Equipment, done: Done) -> RunHours:
    """A finished run with its hours as set; computed once for the same leaf and settings."""
    key = key_of(_FORM, "hours", run_key(works, machine, done), machine.rate_kg_h)
    made = kept_in(works).get(key, lambda: _as_set(works, machine, done))
    return RunHours(done, **made)


def _as_set(works: Works, machine: Equipment, done: Done) -> dict[str, Any]:
    try:
        told = PACED[machine.stage](asked_again(works, machine, done))
    except BadInput as error:
        return {"trouble": str(error)}
    if not told.duration_h > 0.0 or not math.isfinite(told.duration_h):
        return {"trouble": "Its settings give no hours."}
    return {"as_set_h": told.duration_h}


def paced(told: Prediction, ask: Ask) -> Prediction:
    """A forecast with the works' own hours, where they were learned.

    A mill whose product was weighed on the run says itself how fast it is; that stays.
    """
    pace = ask.pace
    weighed = ask.machine.stage == "mill" and any(r.quantity == "mass_kg" for r in ask.readings)
    if pace is None or weighed:
        return told
    hours = told.duration_h * pace.multiplier
    return replace(
        told,
        duration_h=hours,
        duration_sd_h=hours * pace.relative_sd,
        sources=(*told.sources, pace.source),
    )
