"""What the works' own runs taught, and what that is worth: for the page and the command.

For every run of a dryer or trough the moisture is forecast twice, once with the leaf profile's rate
and once with the rate that the runs finished before it taught, at the settings and hours that it
had; on an oxidation floor it is the theaflavin of its last sample. Neither has seen the run. Which
of the two comes nearer, and how often each band holds, is what the own rate is worth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wareleaf.leaf.learned import LOG_RATES
from wareleaf.works.holdout import Pair
from wareleaf.works.holdout_score import score
from wareleaf.works.house import Works
from wareleaf.works.own_shown import OwnView, RunTwice, compared, scores, twice, views_of
from wareleaf.works.predict.base import OwnRate
from wareleaf.works.predict.own_oxidation import OxidationSays
from wareleaf.works.predict.own_rate import (
    FEWEST,
    LOOK_BACK,
    MOST_RUNS,
    STAGES,
    RunSays,
    Says,
    earlier,
    learn,
    prior_of,
    rate_of,
    says,
)
from wareleaf.works.runs_done import runs_done
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class OwnRateView(OwnView):
    """The rate of one leaf on one machine; ``times`` are those of the course in ``learned``."""

    times: tuple[datetime, ...]

    @property
    def sentence(self) -> str:
        """What it comes to, for people."""
        if self.learned is None:
            return "No finished run tells of its rate yet."
        if self.machine.stage == "oxidise":
            return self.learned.said("oxidise", "the model")
        return self.learned.said("dry", "the profile")

    @property
    def drift(self) -> str:
        """Whether the rate drifts, for people."""
        return "" if self.learned is None else self.learned.course.sentence


def own_rates(works: Works, site: str) -> list[OwnRateView]:
    """Every leaf on every dryer, trough and floor of a site with finished runs, most runs first.

    A run on a floor counts when something was read of its leaf.

    Raises
    ------
    BadInput
        For an unknown site.
    """
    return views_of(works, site, STAGES, _view)


def _view(works: Works, machine: Equipment, leaf_id: str) -> OwnRateView | None:
    every = runs_done(works, machine, leaf_id, works.now() - LOOK_BACK)
    done = [d for d in every if d.tells]
    if not done:
        return None
    said = [says(works, machine, d) for d in done]
    learned = learn(said[-MOST_RUNS:], leaf_id, machine.stage)
    seen = []
    for each in said:
        if each.trouble:
            continue
        before = earlier(done, each.done.started_at)
        taught = rate_of(works, machine, leaf_id, before) if len(before) >= FEWEST else None
        seen.append(_seen(works, each, taught, prior_of(leaf_id, machine.stage).lot_log_sd))
    plain, own = scores(seen)
    zone = works.settings.zone
    return OwnRateView(
        machine=machine,
        leaf=leaf_id,
        learned=learned,
        times=tuple(
            datetime.fromtimestamp(86400.0 * day, zone)
            for day in (learned.course.time_d if learned else ())
        ),
        runs=tuple(seen),
        left_out=tuple((s.done.run_id, why) for s in said if (why := s.why_not())),
        plain_score=plain,
        own_score=own,
    )


def _seen(works: Works, said: Says, taught: OwnRate | None, lot_log_sd: float) -> RunTwice:
    def pair(log_mean: float, sd: float) -> Pair | None:
        if isinstance(said, OxidationSays):
            told, last = said.theaflavin(log_mean, sd), said.last_theaflavin
            if told is None or last is None:
                return None
            return Pair(told[0], last.value, told[1], last.standard_uncertainty)
        wb, wb_sd = _moisture(said, log_mean, sd)
        return Pair(wb, said.done.moisture_wb, wb_sd, said.done.moisture_sd)

    plain = own = pair(0.0, lot_log_sd)
    if taught is not None:
        own = pair(taught.log_mean, math.hypot(taught.log_sd, taught.lot_log_sd))
    return twice(works, said.done, plain, own, taught)


def _moisture(said: RunSays, log_mean: float, log_sd: float) -> tuple[float, float]:
    """Mean and sd of the moisture over a normal belief of the log rate."""
    mean, sd = said.curve()
    weight = np.exp(-0.5 * ((LOG_RATES - log_mean) / log_sd) ** 2)
    weight = weight / weight.sum()
    first = np.exp(mean + 0.5 * sd**2)
    middle = float(weight @ first)
    second = float(weight @ (first**2 * np.exp(sd**2)))
    return middle, math.sqrt(max(second - middle**2, 0.0))


MEASURES: Mapping[str, tuple[str, ...]] = {
    "moisture": ("dry", "wither"),
    "theaflavin": ("oxidise",),
}
"""What a forecast is held against on which stages, in points of percent."""


def worth(views: Sequence[OwnRateView]) -> str:
    """What the own rates are worth, a sentence a measure; empty while no run had one."""
    said = (
        _worth([s for v in views if v.machine.stage in stages for s in v.runs], what)
        for what, stages in MEASURES.items()
    )
    return " ".join(filter(None, said))


def _worth(runs: Sequence[RunTwice], what: str) -> str:
    pairs = compared(runs)
    n = len(pairs[0])
    if n < FEWEST:
        return ""
    profile, own = (score(each) for each in pairs)
    widths = [
        sum(1.96 * math.hypot(p.predicted_sd or 0.0, p.measured_sd) for p in each) / n
        for each in pairs
    ]
    digits = 2 if what == "theaflavin" else 1
    return (
        f"Over {n} runs the works' own rate missed the {what} by {100 * own.rms:.{digits + 1}f} "
        f"points (root mean square), the profile's by {100 * profile.rms:.{digits + 1}f}. Its 95 % "
        f"band was ± {100 * widths[1]:.{digits}f} points wide and held {own.inside} of "
        f"{own.banded}; the profile's was ± {100 * widths[0]:.{digits}f} and held {profile.inside}."
    )
