"""The works' own rate from its runs: calibrated on made runs, from earlier runs only, kept."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.stats import binom

from wareleaf.leaf.learned import LOG_RATES, LearnedRate, RateSeen, learn_rate, log_likelihood
from wareleaf.measure import BadInput, moisture_wb_from_db
from wareleaf.stages import dry, wither
from wareleaf.stages.common import StageReading
from wareleaf.works.charge import charge_that_went_on
from wareleaf.works.correct_weights import correct_weights
from wareleaf.works.demo.tea_days import OXIDISES
from wareleaf.works.dryer_outlets import outlets, usual_run
from wareleaf.works.floor import floor
from wareleaf.works.holdout import holdout
from wareleaf.works.holdout_runs import season_of
from wareleaf.works.house import Works
from wareleaf.works.kept import KEPT_FILE, Kept
from wareleaf.works.machines import dryer_of
from wareleaf.works.own_rates import own_rates, worth
from wareleaf.works.predict import _PREDICT, own_rate, predict_charge
from wareleaf.works.predict.base import Ask
from wareleaf.works.predict.dryers import dry_run_of, leaf_heat, usable_readings
from wareleaf.works.predict.own_rate import FEWEST, NODES, RunSays, earlier, says
from wareleaf.works.runs_done import runs_done

METER_SD = 0.003
LOT_SD = 0.12
SEEDS = 40

# A belt that cools at its end: kelp that is dry early takes up water again there, so two rates
# give one moisture and the likelihood of a run is no bell.
KELP = (
    dry.BeltDryer(
        60.0,
        (
            dry.Zone(0.4, 58.0, 1.0, 0.6, "up"),
            dry.Zone(0.35, 56.0, 0.8, 0.7, "down"),
            dry.Zone(0.25, 36.0, 0.6, 0.3, "up", remix=True),
        ),
        layers=4,
        steps=60,
    ),
    dry.DryRun("sugar_kelp_blanched", 0.92, 3.4, feed_kg_h=250.0, ambient_c=10.0, ambient_rh=0.8),
)
TEA = (
    dry.BeltDryer(20.0, (dry.Zone(1.0, 95.0, 0.8, 0.5),), layers=4, steps=40),
    dry.DryRun("tea_black", 0.66, 0.36, feed_kg_h=160.0, ambient_c=18.0),
)


class Bench:
    """Makes runs of a machine at true rates and says what each tells of its rate."""

    def __init__(self, case: tuple[dry.BeltDryer, dry.DryRun]) -> None:
        self.dryer, self.run = case
        mean, sd = dry.by_rate(self.dryer, self.run, NODES)
        self.mean = PchipInterpolator(NODES, mean)(LOG_RATES)
        self.sd = PchipInterpolator(NODES, sd)(LOG_RATES)

    def moistures(self, log_rates: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """As read, of lots with these rates in leaf, load and air that are not quite as thought."""
        z = rng.standard_normal((log_rates.size, len(dry.NAMES)))
        z[:, -1] = 0.0  # the rate is given
        many = replace(dry.vary(self.dryer, self.run, z), rate_multiplier=np.exp(log_rates))
        out = moisture_wb_from_db(dry.solve(self.dryer, self.run, many).moisture_db)
        return np.asarray(out + METER_SD * rng.standard_normal(log_rates.size))

    def seen(self, read: np.ndarray) -> list[RateSeen]:
        rows = []
        for i, wb in enumerate(read):
            laid = tuple(log_likelihood(float(wb), METER_SD, self.mean, self.sd).tolist())
            rows.append(RateSeen(float(i), 0.0, 0.0, f"R-{i}", laid))
        return rows


def learned_over_seeds(
    case: tuple[dry.BeltDryer, dry.DryRun], runs: int
) -> list[tuple[float, LearnedRate]]:
    rng = np.random.default_rng(20260508)
    bench = Bench(case)
    means = rng.normal(0.0, 0.25, SEEDS)
    rates = means[:, None] + LOT_SD * rng.standard_normal((SEEDS, runs))
    read = bench.moistures(rates.ravel(), rng).reshape(SEEDS, runs)
    return [(float(m), learn_rate(bench.seen(r))) for m, r in zip(means, read, strict=True)]


@pytest.mark.slow
@pytest.mark.parametrize("case", [KELP, TEA], ids=["kelp", "tea"])
def test_the_learned_rate_is_as_sure_as_it_says(case: Any) -> None:
    """40 works of 20 runs: no bias, and the 95 % intervals hold as many as chance allows."""
    found = learned_over_seeds(case, 20)
    z = np.array([(truth - each.log_mean) / each.log_sd for truth, each in found])
    assert abs(z.mean()) < 3.0 / math.sqrt(SEEDS)
    assert 0.6 < z.std() < 1.3
    fewest = int(binom.ppf(0.002, SEEDS, 0.95))
    assert sum(each.low <= math.exp(truth) <= each.high for truth, each in found) >= fewest
    assert sum(each.lot_low <= LOT_SD <= each.lot_high for _, each in found) >= fewest
    # It tells something: much surer than the 0.4 that is believed before any run.
    assert np.median([each.log_sd for _, each in found]) < 0.08


@pytest.mark.slow
def test_a_rate_that_falls_is_found_and_followed() -> None:
    """Twenty lots at the profile's rate, then twenty at 0.7 of it; and none in steady works."""
    rng = np.random.default_rng(3)
    bench = Bench(TEA)
    noticed = 0
    for _ in range(10):
        level = np.repeat([0.0, math.log(0.7)], 20)
        found = learn_rate(bench.seen(bench.moistures(level + 0.06 * rng.normal(size=40), rng)))
        noticed += found.course.drifting
        if found.course.drifting:
            assert found.course.change_share < -0.1
            assert abs(found.now_log_mean - math.log(0.7)) < 3.0 * found.now_log_sd
            assert found.log_mean > found.now_log_mean + 0.05
    assert noticed >= 9
    steady = learn_rate(bench.seen(bench.moistures(0.06 * rng.normal(size=40), rng)))
    assert not steady.course.drifting
    assert steady.now_log_mean == steady.log_mean


def test_a_run_at_its_driest_says_only_at_least_so_fast() -> None:
    flat = tuple(np.where(LOG_RATES < -0.1, -50.0, 0.0).tolist())
    found = learn_rate([RateSeen(float(i), 0.0, 0.0, f"R-{i}", flat) for i in range(20)])
    assert found.log_mean > 0.05
    assert found.log_sd > 0.1  # how fast it is, is not known
    assert found.low > math.exp(-0.15)


def test_a_likelihood_that_is_a_bell_is_worth_its_number() -> None:
    rng = np.random.default_rng(8)
    y = rng.normal(0.15, 0.12, 15)
    plain = learn_rate([RateSeen(float(i), v, 0.06) for i, v in enumerate(y)])
    laid = learn_rate(
        [
            RateSeen(float(i), 0.0, 0.0, "", tuple((-0.5 * ((LOG_RATES - v) / 0.06) ** 2).tolist()))
            for i, v in enumerate(y)
        ]
    )
    assert laid.log_mean == pytest.approx(plain.log_mean, abs=2e-3)
    assert laid.log_sd == pytest.approx(plain.log_sd, rel=0.03)
    assert laid.lot_log_sd == pytest.approx(plain.lot_log_sd, rel=0.03)
    assert laid.course.run_multiplier == pytest.approx(plain.course.run_multiplier, rel=0.01)


def test_the_moisture_of_a_rate_is_that_of_the_run_at_that_rate() -> None:
    for dryer, run in (KELP, TEA):
        sure = replace(
            run,
            moisture_wb_sd=0.0,
            loading_relative_sd=0.0,
            ambient_c_sd=0.0,
            ambient_rh_sd=0.0,
            inlet_c_sd=0.0,
        )
        mean, sd = dry.by_rate(dryer, sure, NODES)
        for at in (0, 5, 12):
            there = replace(sure, rate_multiplier=math.exp(NODES[at]))
            result = dry.simulate(dryer, there, with_spread=False)
            assert math.exp(mean[at]) == pytest.approx(result.moisture_wb_out, rel=1e-6)
        assert sd == pytest.approx(np.zeros(13), abs=1e-9)


def test_a_quick_lot_withers_further() -> None:
    run = wither.WitherRun(
        "tea_black",
        500.0,
        0.76,
        air_time_h=(0.0,),
        dry_bulb_c=(24.0,),
        relative_humidity=(0.65,),
    )
    mean, sd = wither.by_rate(wither.Trough(), run, 10.0, NODES)
    assert np.all(np.diff(mean) < 0.0)
    quick = replace(run, rate_factor=math.exp(NODES[8]), duration_h=10.0)
    assert math.exp(mean[8]) == pytest.approx(
        wither.simulate(wither.Trough(), quick).moisture_wb_out, abs=0.002
    )
    assert np.all(sd > 0.0)


# ---- In the book ---------------------------------------------------------------------------


def bed(works: Works) -> tuple[Any, Any]:
    machine = works.settings.equipment_of("bed-1")
    done = runs_done(works, machine, "tea_black", works.now() - timedelta(days=60))
    assert len(done) > FEWEST + 3
    return machine, done


def test_a_forecast_learns_from_earlier_runs_only(demo_works: Works) -> None:
    machine, done = bed(demo_works)
    fifth, later = done[FEWEST - 1], done[-1]
    at = fifth.finished_at + timedelta(seconds=1)
    assert own_rate(demo_works, machine, "tea_black", fifth.finished_at) is None
    before = own_rate(demo_works, machine, "tea_black", at)
    assert before is not None
    assert before.runs == FEWEST
    assert all(d.finished_at < at for d in earlier(done, at))
    right = 0.6 * later.moisture_wb
    drier = {m.lot_id: (m.mass_g / 1000.0, right) for m in later.end.outputs}
    correct_weights(demo_works, "ilsa", later.end.event_id, "the wrong line was read", drier)
    assert own_rate(demo_works, machine, "tea_black", at) == before
    now = own_rate(demo_works, machine, "tea_black", demo_works.now())
    again = bed(demo_works)[1][-1]
    assert again.moisture_wb == pytest.approx(right, abs=1e-3)
    assert now is not None
    without = own_rate(demo_works, machine, "tea_black", later.finished_at)
    assert without is not None
    assert now.runs == min(len(done), 40)
    assert now.log_mean > without.log_mean  # a lot that came off drier was a quicker lot


def test_the_forecast_is_made_with_the_own_rate(demo_works: Works) -> None:
    machine, done = bed(demo_works)
    last = done[-1]
    charge = charge_that_went_on(last.end, last.lots, last.started_at)
    at = demo_works.now()
    seen = predict_charge(demo_works, machine, charge, last.settings, at)
    rate = own_rate(demo_works, machine, "tea_black", at)
    assert rate is not None
    ask = Ask(demo_works, machine, charge, last.settings, at, rate=rate)
    assert dry_run_of(ask).rate_multiplier == pytest.approx(math.exp(rate.log_mean))
    made = dry.simulate(dryer_of(machine, ask.settings), dry_run_of(ask))
    assert seen.moisture_wb_out == pytest.approx(made.moisture_wb_out)
    assert rate.source in seen.sources


def test_the_usual_run_of_the_adviser_is_at_the_own_rate(demo_works: Works) -> None:
    machine, _ = bed(demo_works)
    rate = own_rate(demo_works, machine, "tea_black", demo_works.now())
    assert rate is not None
    _, run = usual_run(demo_works, machine, "tea_black", outlets(demo_works, machine, "tea_black"))
    assert run.rate_multiplier == pytest.approx(rate.multiplier)
    assert run.rate_relative_sd == pytest.approx(rate.relative_sd)


def test_leaf_that_is_read_drier_is_judged_hotter(demo_works: Works) -> None:
    """The leaf heat of a run is that of the lot as its readings show it, not as it was thought."""
    machine, done = bed(demo_works)
    charge = charge_that_went_on(done[-1].end, done[-1].lots, done[-1].started_at)
    ask = Ask(demo_works, machine, charge, done[-1].settings, done[-1].started_at)
    plain = leaf_heat(ask)
    run = dry_run_of(ask)
    out = dry.simulate(dryer_of(machine, ask.settings), run).moisture_wb_out
    quick, slow = (
        leaf_heat(replace(ask, readings=(StageReading(run.residence_h, "moisture_wb", wb, 0.002),)))
        for wb in (0.6 * out, 1.8 * out)
    )
    assert slow.leaf_max_c < plain.leaf_max_c < quick.leaf_max_c


def test_leaf_read_before_any_is_off_is_no_outlet(demo_works: Works) -> None:
    """A sample from the middle of the belt, or of the load before, must not move this lot."""
    machine, done = bed(demo_works)
    charge = charge_that_went_on(done[-1].end, done[-1].lots, done[-1].started_at)
    ask = Ask(demo_works, machine, charge, done[-1].settings, done[-1].started_at)
    dryer, run = dryer_of(machine, ask.settings), dry_run_of(ask)
    wet = StageReading(0.4 * run.residence_h, "moisture_wb", 0.4, 0.005)
    hot = StageReading(0.5 * run.residence_h, "temperature_c", 60.0, 1.0)
    off = StageReading(1.2 * run.residence_h, "moisture_wb", 0.04, 0.002)
    taken, said = usable_readings(replace(ask, readings=(wet, hot, off)), dryer, run)
    assert [(r.quantity, r.value) for r in taken] == [("moisture_wb_out", 0.04)]
    assert "no leaf of this run is off before" in said
    early = leaf_heat(replace(ask, readings=(wet, hot)))
    assert early.leaf_max_c == leaf_heat(ask).leaf_max_c


def test_a_page_that_is_shown_again_computes_nothing(
    demo_works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    for site in ("kelp", "tea"):
        floor(demo_works, site)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("it was computed again")

    monkeypatch.setattr("wareleaf.works.floor.predict", never)
    monkeypatch.setattr("wareleaf.stages.dry.by_rate", never)
    monkeypatch.setattr("wareleaf.stages.wither.by_rate", never)
    for site in ("kelp", "tea"):
        assert any(v.prediction for v in floor(demo_works, site))


def test_what_was_kept_is_read_again_and_a_broken_file_is_as_good_as_none(tmp_path: Path) -> None:
    path = tmp_path / KEPT_FILE
    first = Kept(path)
    assert first.get("a", lambda: {"x": 1}) == {"x": 1}
    first.write()
    assert Kept(path).get("a", lambda: pytest.fail("it was kept")) == {"x": 1}
    path.write_text("{ not json")
    assert Kept(path).get("a", lambda: 2) == 2
    nowhere = Kept(tmp_path / "gone" / KEPT_FILE)
    assert nowhere.get("a", lambda: 3) == 3
    nowhere.write()


def test_a_moisture_that_no_rate_gives_is_left_out_with_a_reason(demo_works: Works) -> None:
    machine, done = bed(demo_works)
    said = says(demo_works, machine, done[0])
    assert said.why_not() == ""
    odd = RunSays(said.done, tuple(np.log(np.linspace(0.5, 0.4, 13))), (0.01,) * 13)
    assert odd.log_likelihood() is None
    assert "no rate in reach gives that" in odd.why_not()


@pytest.mark.slow
def test_the_own_rate_of_the_demo_is_near_what_made_it(month_works: Works) -> None:
    """The demo's leaf runs at its profile's pace give or take 6 %; the works learns just that.

    Its floor is slower than the model.
    """
    views = [v for s in ("kelp", "tea") for v in own_rates(month_works, s)]
    told = [v for v in views if v.learned and v.learned.enough]
    assert len(told) >= 7
    true = np.array([math.log(OXIDISES) if v.machine.id == "floor-1" else 0.0 for v in told])
    learned = [v.learned for v in told if v.learned]
    z = (np.array([each.log_mean for each in learned]) - true) / [e.log_sd for e in learned]
    assert np.max(np.abs(z)) < 3.0
    for view in views:
        assert view.plain_score is None or view.own_score is not None
        for run in view.runs:
            assert (run.own is None) == (run.plain is None)
            assert run.own is None or run.own.measured == run.plain.measured
    assert "points" in worth(views)


def test_the_season_of_a_run() -> None:
    def named(year: int, month: int) -> str:
        return season_of(datetime(year, month, 15, tzinfo=UTC))

    assert named(2025, 12) == named(2026, 1) == named(2026, 2) == "Dec-Feb 2026"
    assert named(2026, 3) == named(2026, 5) == "Mar-May 2026"
    assert named(2026, 6) == "Jun-Aug 2026"
    assert named(2026, 11) == "Sep-Nov 2026"


def test_seasons_hold_every_run_once(demo_works: Works) -> None:
    found = holdout(demo_works)
    assert sum(g.runs for g in found.groups if g.level == "season") == len(found.outcomes)


def test_own_rates_of_an_unknown_site_are_refused(demo_works: Works) -> None:
    with pytest.raises(BadInput):
        own_rates(demo_works, "moon")


MADE_OF = {
    "bath-1": "sugar_kelp_raw",
    "belt-1": "sugar_kelp_blanched",
    "bed-1": "tea_black",
    "trough-1": "tea_black",
    "roller-1": "tea_black",
    "floor-1": "tea_black",
    "mill-1": "sugar_kelp_blanched",
}


def test_every_machine_takes_every_meter(demo_works: Works) -> None:
    """Whatever a meter shows moves the forecast, or the advice says that it does not."""
    for machine_id, leaf in MADE_OF.items():
        machine = demo_works.settings.equipment_of(machine_id)
        since = demo_works.now() - timedelta(days=60)
        last = runs_done(demo_works, machine, leaf, since)[-1]
        charge = charge_that_went_on(last.end, last.lots, last.started_at)
        ask = Ask(demo_works, machine, charge, last.settings, last.started_at)
        bare = _PREDICT[machine.stage](ask)
        hours = last.hours if machine.stage == "dry" else 0.6 * last.hours
        for quantity, value in (
            ("moisture_wb", last.moisture_wb + 0.004),
            ("mass_kg", 0.99 * last.mass_kg),
            ("temperature_c", 78.0 if machine.stage == "blanch" else 30.0),
            ("net_g", 250.0),
        ):
            reading = StageReading(hours, quantity, value, 0.004 * max(1.0, value))
            seen = _PREDICT[machine.stage](replace(ask, readings=(reading,)))
            same = (seen.moisture_wb_now, seen.duration_h, seen.leaf_temperature_max_c) == (
                bare.moisture_wb_now,
                bare.duration_h,
                bare.leaf_temperature_max_c,
            )
            assert not same or seen.advice != bare.advice, (machine_id, quantity)
            if quantity == "net_g":
                assert "kept, but it does not move" in seen.advice
