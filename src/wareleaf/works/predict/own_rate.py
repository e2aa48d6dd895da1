"""The works' own drying rate, from its finished runs, for the forecasts of later ones.

What a run says: at its settings, with the leaf that went on and the air of those hours, the stage's
model gives a moisture for every rate; the moisture that was measured makes some rates likelier.
`leaf.learned` adds the runs of one leaf on one machine up. A forecast for a time takes only runs
that were finished before it, so what it is later held against was never in it.

Dryers and troughs learn from moisture, an oxidation floor from theaflavin or colour (see
`own_oxidation`). The hours of the other stages are in `own_pace`.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from wareleaf import leaf as leaves
from wareleaf.leaf.learned import (
    FEWEST,
    LOG_RATES,
    LearnedRate,
    RatePrior,
    RateSeen,
    learn_rate,
    log_likelihood,
)
from wareleaf.measure.errors import BadInput
from wareleaf.stages import dry, oxidise, wither
from wareleaf.stages.common import Array, log_sd
from wareleaf.works.charge import charge_that_went_on
from wareleaf.works.house import Works
from wareleaf.works.kept import kept_in
from wareleaf.works.machines import dryer_of, trough_of
from wareleaf.works.predict.base import NODES, OwnRate, asked_again
from wareleaf.works.predict.dryers import dry_run_of
from wareleaf.works.predict.own_oxidation import (
    OwnOxidation,
    OxidationSays,
    courses_of,
    readings_that_speak,
)
from wareleaf.works.predict.troughs import wither_run_of
from wareleaf.works.runs_done import Done, runs_done
from wareleaf.works.settings import Equipment

STAGES = ("dry", "wither", "oxidise")
MOST_RUNS = 40  # the latest; older leaf says little of what comes next (own choice)
LOOK_BACK = timedelta(days=120)  # own choice
FAR_SD = 4.0  # a moisture further from all that rates give is a mistake in the book (own choice)
_LEAST_SD = 1e-4  # of a moisture, where a meter is said to have no doubt
_FORM = 1  # raise when the meaning of what is kept changes


@dataclass(frozen=True)
class RunSays:
    """One finished run and the moisture that each rate would have given.

    Parameters
    ----------
    done : Done
        The run.
    log_wb, log_wb_sd : tuple of float
        Logarithm of the moisture off at each of `NODES`, and its spread from all but the rate.
    trouble : str
        Why the run says nothing; empty when it does.
    """

    done: Done
    log_wb: tuple[float, ...] = ()
    log_wb_sd: tuple[float, ...] = ()
    trouble: str = ""

    def curve(self) -> tuple[Array, Array]:
        """Mean and spread of the logarithm of the moisture on `LOG_RATES`."""
        mean, sd = PchipInterpolator(NODES, self.log_wb), PchipInterpolator(NODES, self.log_wb_sd)
        return np.asarray(mean(LOG_RATES)), np.asarray(sd(LOG_RATES))

    def log_likelihood(self) -> Array | None:
        """Of the lot's log rate on `LOG_RATES`; None when no rate in reach gives what was read."""
        return self._likely

    @cached_property
    def _likely(self) -> Array | None:
        if self.trouble:
            return None
        mean, sd = self.curve()
        wet, meter_sd = self.done.moisture_wb, max(self.done.moisture_sd, _LEAST_SD)
        middle = np.exp(mean)
        miss = (wet - middle) / np.hypot(sd * middle, meter_sd)
        if float(np.min(np.abs(miss))) > FAR_SD:
            return None
        return log_likelihood(wet, meter_sd, mean, sd)

    def why_not(self) -> str:
        """Why it says nothing, for people; empty when it does."""
        if self.trouble or self.log_likelihood() is not None:
            return self.trouble
        low, high = (100.0 * math.exp(f(self.log_wb)) for f in (min, max))
        return (
            f"It came off at {100.0 * self.done.moisture_wb:.1f} %; no rate in reach gives that "
            f"({low:.1f} to {high:.1f} %)."
        )


def regime_of(stage: str) -> str:
    """Name of the rate in a leaf profile that a stage runs on."""
    return "dry" if stage == "dry" else "wither"


Says = RunSays | OxidationSays
"""What one finished run says of its rate."""


def prior_of(leaf_id: str, stage: str) -> RatePrior:
    """Before any run: the profile, and its lot-to-lot spread."""
    if stage == "oxidise":
        return RatePrior(lot_log_sd=oxidise.figure("all.rate_log_sd"))
    profile = leaves.profile(leaf_id)
    return RatePrior(lot_log_sd=log_sd(leaves.rate_constant_relative_sd(profile, regime_of(stage))))


def own_rate(works: Works, machine: Equipment, leaf_id: str, before: datetime) -> OwnRate | None:
    """The rate of a leaf on a machine, from its runs that were finished before a time.

    None while fewer than `leaf.learned.FEWEST` runs tell, or for a stage that does not learn.
    """
    if machine.stage not in STAGES:
        return None
    found: OwnRate | None = noted(works, machine, leaf_id, before, rate_of)
    return found


def noted(
    works: Works,
    machine: Equipment,
    leaf_id: str,
    before: datetime,
    find: Callable[[Works, Equipment, str, Sequence[Done]], Any],
) -> Any:
    """What the runs finished before a time teach by ``find``, once; None with too few of them."""
    done = earlier(runs_done(works, machine, leaf_id, before - LOOK_BACK), before)
    if len(done) < FEWEST:
        return None
    # Any change of an earlier run makes new `Done`s, so what the last one notes is of these runs.
    read = sum(len(d.readings) for d in done)
    asked = (find, machine.id, id(works.settings), len(done), done[0].run_id, read)
    if asked not in done[-1].notes:
        done[-1].notes[asked] = find(works, machine, leaf_id, done)
    return done[-1].notes[asked]


def rate_of(works: Works, machine: Equipment, leaf_id: str, done: Sequence[Done]) -> OwnRate | None:
    """The rate that these runs teach; computed once for the same runs and outcomes."""
    key = key_of(
        _FORM, "own", machine.stage, [(run_key(works, machine, d), d.outcome) for d in done]
    )
    made = kept_in(works).get(key, lambda: _learned(works, machine, leaf_id, done))
    kind = OwnOxidation if machine.stage == "oxidise" else OwnRate
    return kind(**made) if made else None


def earlier(done: Sequence[Done], before: datetime) -> list[Done]:
    """The latest `MOST_RUNS` finished before a time, begun at most `LOOK_BACK` before it."""
    since = before - LOOK_BACK
    there = (d.known_at(before) for d in done if d.finished_at < before and d.started_at >= since)
    return [d for d in there if d.tells][-MOST_RUNS:]


def _learned(
    works: Works, machine: Equipment, leaf_id: str, done: Sequence[Done]
) -> dict[str, float]:
    learned = learn([says(works, machine, d) for d in done], leaf_id, machine.stage)
    if learned is None or not learned.enough:
        return {}
    rate = OwnRate(learned.n, learned.now_log_mean, learned.now_log_sd, learned.lot_log_sd)
    return asdict(rate)


def learn(said: Sequence[Says], leaf_id: str, stage: str) -> LearnedRate | None:
    """What finished runs of one leaf on one machine teach; None when none of them tells."""
    seen = []
    for each in said:
        likely = each.log_likelihood()
        if likely is not None:
            day = each.done.finished_at.timestamp() / 86400.0
            seen.append(RateSeen(day, 0.0, 0.0, each.done.run_id, tuple(likely.tolist())))
    return learn_rate(seen, prior_of(leaf_id, stage)) if seen else None


def says(works: Works, machine: Equipment, done: Done) -> Says:
    """What one finished run says; computed once for the same leaf, settings, air and machine."""
    key = run_key(works, machine, done)
    if machine.stage == "oxidise":
        read = readings_that_speak(machine, done)
        timed = key_of(_FORM, "floor", key, [(r.time_h, r.quantity) for r in read])
        courses = kept_in(works).get(timed, lambda: courses_of(works, machine, done, read))
        return OxidationSays(done, read, **courses)
    if (says, key) not in done.notes:
        made = kept_in(works).get(key, lambda: _moistures(works, machine, done))
        wb, sd = tuple(made.get("log_wb", ())), tuple(made.get("sd", ()))
        done.notes[says, key] = RunSays(done, wb, sd, made.get("trouble", ""))
    found: RunSays = done.notes[says, key]
    return found


def run_key(works: Works, machine: Equipment, done: Done) -> str:
    """Of all that `says` is made from; the moisture that came off is not part of it."""
    asked = (machine.id, id(works.settings))
    if asked not in done.notes:
        done.notes[asked] = _run_key(works, machine, done)
    return str(done.notes[asked])


def _run_key(works: Works, machine: Equipment, done: Done) -> str:
    return key_of(
        _FORM,
        machine.kind,
        machine.settings,
        works.settings.site_of(machine.site).weather,
        done.leaf,
        done.settings,
        done.started_at,
        done.hours if machine.stage == "wither" else None,
        asdict(charge_that_went_on(done.end, done.lots, done.started_at)),
    )


def key_of(*parts: Any) -> str:
    """A short name for all that a result was made from."""
    body = json.dumps(parts, sort_keys=True, default=str)
    return hashlib.sha256(body.encode()).hexdigest()[:32]


def _moistures(works: Works, machine: Equipment, done: Done) -> dict[str, Any]:
    try:
        ask = asked_again(works, machine, done)
        if machine.stage == "dry":
            mean, sd = dry.by_rate(dryer_of(machine, ask.settings), dry_run_of(ask), NODES)
        else:
            mean, sd = wither.by_rate(trough_of(machine), wither_run_of(ask), done.hours, NODES)
    except BadInput as error:
        return {"trouble": str(error)}
    return {"log_wb": mean.round(6).tolist(), "sd": sd.round(6).tolist()}
