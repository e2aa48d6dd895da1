"""The works' own hours from its runs: calibrated on made works, from earlier runs only, shown."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import binom

from wareleaf.cli.main import cli
from wareleaf.leaf.learned import FEWEST
from wareleaf.stages.common import StageReading
from wareleaf.works.charge import charge_that_went_on
from wareleaf.works.controls import full_settings
from wareleaf.works.holdout_score import score
from wareleaf.works.house import Works
from wareleaf.works.own_paces import own_paces, worth_of_paces
from wareleaf.works.predict import _PREDICT, own_pace, predict_charge
from wareleaf.works.predict.base import Ask
from wareleaf.works.predict.own_pace import OwnPace, RunHours, hours_of, learn_pace, paced
from wareleaf.works.runs_done import runs_done

SEEDS, RUNS, LATER = 40, 20, 10
LOT_SD = 0.06
FIRST = datetime(2026, 5, 1, 8, tzinfo=UTC)


def made(hours: float, as_set_h: float, i: int) -> RunHours:
    done: Any = SimpleNamespace(
        hours=hours, finished_at=FIRST + timedelta(hours=9 * i), run_id=f"R-{i}"
    )
    return RunHours(done, as_set_h)


def a_works(rng: np.random.Generator) -> tuple[float, list[RunHours]]:
    """Runs of half an hour to two hours, in a works of its own pace, noted to the minute."""
    mean = rng.normal(0.1, 0.15)
    as_set = rng.uniform(0.5, 2.0, RUNS + LATER)
    took = as_set * np.exp(mean + LOT_SD * rng.standard_normal(RUNS + LATER))
    noted = np.round(60.0 * took) / 60.0
    return mean, [
        made(float(h), float(s), i) for i, (h, s) in enumerate(zip(noted, as_set, strict=True))
    ]


def test_the_learned_pace_is_as_sure_as_it_says() -> None:
    """40 works of 20 runs: no bias, and every 95 % band holds as many as chance allows."""
    rng = np.random.default_rng(20260712)
    z, mean_in, lot_in, next_in = [], 0, 0, 0
    for _ in range(SEEDS):
        truth, runs = a_works(rng)
        found = learn_pace(runs[:RUNS])
        assert found is not None
        z.append((truth - found.log_mean) / found.log_sd)
        mean_in += found.low <= math.exp(truth) <= found.high
        lot_in += found.lot_low <= LOT_SD <= found.lot_high
        pace = OwnPace(found.n, found.now_log_mean, found.now_log_sd, found.lot_log_sd)
        for run in runs[RUNS:]:
            told = run.as_set_h * pace.multiplier
            next_in += abs(run.done.hours - told) <= 1.96 * told * pace.relative_sd
    assert abs(np.mean(z)) < 3.0 / math.sqrt(SEEDS)
    assert 0.6 < np.std(z) < 1.3
    fewest = int(binom.ppf(0.002, SEEDS, 0.95))
    assert mean_in >= fewest
    assert lot_in >= fewest
    # the ten later runs of a works share its mean, so they count for less than 400 single ones
    assert 0.91 < next_in / (SEEDS * LATER) < 0.98


def test_a_works_that_slows_down_is_found_and_followed() -> None:
    rng = np.random.default_rng(5)
    level = np.repeat([0.0, 0.2], 20) + 0.03 * rng.standard_normal(40)
    found = learn_pace([made(float(h), 1.0, i) for i, h in enumerate(np.exp(level))])
    assert found is not None
    assert found.course.drifting
    assert abs(found.now_log_mean - 0.2) < 3.0 * found.now_log_sd
    assert found.now_log_mean > found.log_mean + 0.05


def test_hours_that_no_pace_explains_say_nothing() -> None:
    runs = [made(1.1, 1.0, i) for i in range(6)]
    forgotten = made(26.0, 1.0, 6)
    assert "look at its start and its finish" in forgotten.why_not()
    assert runs[0].why_not() == ""
    assert learn_pace([*runs, forgotten]) == learn_pace(runs)
    assert learn_pace([forgotten]) is None


# ---- In the book ---------------------------------------------------------------------------


def washed(works: Works) -> tuple[Any, Any]:
    machine = works.settings.equipment_of("wash-1")
    done = runs_done(works, machine, "sugar_kelp_raw", works.now() - timedelta(days=60))
    assert len(done) > FEWEST + 3
    return machine, done


def test_a_forecast_learns_its_hours_from_earlier_runs_only(demo_works: Works) -> None:
    machine, done = washed(demo_works)
    fifth = done[FEWEST - 1].finished_at
    assert own_pace(demo_works, machine, "sugar_kelp_raw", fifth) is None
    found = own_pace(demo_works, machine, "sugar_kelp_raw", fifth + timedelta(seconds=1))
    assert found is not None
    assert found.runs == FEWEST
    # A weak prior: the mean of the five logarithms, but for what the hours as set still pull.
    logs = [math.log(d.hours / hours_of(demo_works, machine, d).as_set_h) for d in done[:FEWEST]]
    assert found.log_mean == pytest.approx(np.mean(logs), abs=0.01)
    last = done[-1]
    charge = charge_that_went_on(last.end, last.lots, last.started_at)
    now = demo_works.now()
    pace = own_pace(demo_works, machine, "sugar_kelp_raw", now)
    assert pace is not None
    told = predict_charge(demo_works, machine, charge, last.settings, now)
    as_set = charge.mass_kg / machine.rate_kg_h
    assert told.duration_h == pytest.approx(as_set * pace.multiplier)
    assert told.duration_sd_h == pytest.approx(told.duration_h * pace.relative_sd)
    assert pace.source in told.sources
    floor = demo_works.settings.equipment_of("floor-1")
    assert own_pace(demo_works, floor, "tea_black", now) is None


def test_a_mill_that_was_weighed_on_the_run_says_its_own_hours(demo_works: Works) -> None:
    machine = demo_works.settings.equipment_of("mill-1")
    since = demo_works.now() - timedelta(days=60)
    last = runs_done(demo_works, machine, "sugar_kelp_blanched", since)[-1]
    charge = charge_that_went_on(last.end, last.lots, last.started_at)
    settings = full_settings(machine, last.settings)
    slow = OwnPace(9, math.log(1.5), 0.01, 0.05)
    ask = Ask(demo_works, machine, charge, settings, last.started_at, pace=slow)
    plain = _PREDICT["mill"](ask)
    assert paced(plain, ask).duration_h == pytest.approx(1.5 * plain.duration_h)
    weighed = replace(ask, readings=(StageReading(0.1, "mass_kg", 5.0, 0.1),))
    told = _PREDICT["mill"](weighed)
    assert paced(told, weighed) is told


def test_what_the_hours_of_the_demo_teach_is_worth_it_and_is_shown(demo_works: Works) -> None:
    views = [v for s in ("kelp", "tea") for v in own_paces(demo_works, s)]
    assert {v.machine.stage for v in views} >= {"wash", "blanch", "roll", "mill"}
    runs = [r for v in views for r in v.runs if r.taught_by]
    as_set, own = score([r.plain for r in runs]), score([r.own for r in runs])
    assert own.rms < as_set.rms
    assert own.inside > as_set.inside
    assert own.share_high is not None and own.share_high > 0.95
    assert f"{own.inside} of {own.banded}" in worth_of_paces(views)
    folder = str(demo_works.folder)
    shown = CliRunner().invoke(cli, ["learned", "kelp", "--works", folder])
    assert shown.exit_code == 0, shown.output
    assert "times the hours as set" in shown.output
    assert worth_of_paces(own_paces(demo_works, "kelp")) in shown.output
