"""What the works' own runs taught, and what that is worth: for the page and the command.

For every run of a dryer or trough the moisture is forecast twice, once with the leaf profile's rate
and once with the rate that the runs finished before it taught, at the settings and hours that it
had; on an oxidation floor it is the theaflavin of its last sample. Neither has seen the run. Which
of the two comes nearer, and how often each band holds, is what the own rate is worth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wareleaf.leaf.learned import LOG_RATES, LearnedRate
from wareleaf.works.holdout import Pair
from wareleaf.works.holdout_score import Score, score
from wareleaf.works.house import Works
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
class RunSeen:
    """One run, forecast with the profile's rate and with the rate of the runs before it.

    Parameters
    ----------
    run_id : str
        Which.
    at : datetime
        When it was weighed off, on the works' clock.
    profile, own : Pair or None
        Moisture, wet basis, or theaflavin of infusion solids; None where only a colour was read.
        ``own`` is the profile's while too few runs went before.
    taught_by : int
        Runs before it that told; 0 while the profile stands.
    """

    run_id: str
    at: datetime
    profile: Pair | None
    own: Pair | None
    taught_by: int


@dataclass(frozen=True)
class OwnRateView:
    """One leaf on one machine.

    Parameters
    ----------
    machine : Equipment
        From the settings.
    leaf : str
        Profile.
    learned : LearnedRate or None
        From all runs so far, the latest `MOST_RUNS`; None when none tells.
    times : tuple of datetime
        Of the course in ``learned``.
    runs : tuple of RunSeen
        In order of finishing.
    left_out : tuple of (str, str)
        Run and why it says nothing.
    profile_score, own_score : Score or None
        Of the runs that had an own rate, their moisture or theaflavin; the same runs for both.
    """

    machine: Equipment
    leaf: str
    learned: LearnedRate | None
    times: tuple[datetime, ...]
    runs: tuple[RunSeen, ...]
    left_out: tuple[tuple[str, str], ...]
    profile_score: Score | None
    own_score: Score | None

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
    works.settings.site_of(site)
    found = []
    for machine in works.settings.equipment:
        if machine.site == site and machine.stage in STAGES:
            leaves = leaves_on(works, machine)
            found += [v for leaf_id in leaves if (v := _view(works, machine, leaf_id)) is not None]
    return sorted(found, key=lambda v: (-len(v.runs), v.machine.id, v.leaf))


def leaves_on(works: Works, machine: Equipment) -> list[str]:
    """Leaf that may have gone on a machine: what the works takes in and what its runs took."""
    runs = works.book.runs(site=machine.site)
    lots = {r.lots[0] for r in runs if r.equipment == machine.id and r.lots}
    ran = {lot.leaf for lot in works.book.lots(ids=sorted(lots))} if lots else set()
    return sorted({s.leaf for s in works.settings.source} | ran)


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
    profile, own = compared(seen)
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
        profile_score=score(profile) if profile else None,
        own_score=score(own) if own else None,
    )


def compared(seen: Iterable[RunSeen]) -> tuple[list[Pair], list[Pair]]:
    """Forecasts with the profile's rate and with the own one, of the runs that had an own one."""
    both = [(s.profile, s.own) for s in seen if s.taught_by and s.profile and s.own]
    return [p for p, _ in both], [o for _, o in both]


def _seen(works: Works, said: Says, taught: OwnRate | None, lot_log_sd: float) -> RunSeen:
    def pair(log_mean: float, sd: float) -> Pair | None:
        if isinstance(said, OxidationSays):
            told, last = said.theaflavin(log_mean, sd), said.last_theaflavin
            if told is None or last is None:
                return None
            return Pair(told[0], last.value, told[1], last.standard_uncertainty)
        wb, wb_sd = _moisture(said, log_mean, sd)
        return Pair(wb, said.done.moisture_wb, wb_sd, said.done.moisture_sd)

    profile = pair(0.0, lot_log_sd)
    own = profile
    if taught is not None:
        own = pair(taught.log_mean, math.hypot(taught.log_sd, taught.lot_log_sd))
    at = said.done.finished_at.astimezone(works.settings.zone)
    return RunSeen(said.done.run_id, at, profile, own, 0 if taught is None else taught.runs)


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


def _worth(runs: Sequence[RunSeen], what: str) -> str:
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
