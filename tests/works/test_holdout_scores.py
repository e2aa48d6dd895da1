"""Forecasts against what came: the score, and the report over a book."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import binomtest, ttest_1samp

from wareleaf.measure import BadInput
from wareleaf.works.holdout import Outcome, Pair, holdout
from wareleaf.works.holdout_score import score, wilson
from wareleaf.works.house import Works


@dataclass
class Plain:
    error: float
    inside: bool | None = None


@pytest.mark.parametrize(
    ("inside", "of", "low", "high"),
    # Newcombe 1998, Statist. Med. 17:857, Table I, method 3 (from memory)
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)],
)
def test_the_interval_of_a_share(inside: int, of: int, low: float, high: float) -> None:
    assert wilson(inside, of) == pytest.approx((low, high), abs=5e-5)
    reference = binomtest(inside, of).proportion_ci(method="wilson")
    assert wilson(inside, of) == pytest.approx((reference.low, reference.high), abs=1e-12)


def test_bias_and_its_interval_are_student_s() -> None:
    errors = np.random.default_rng(1).normal(0.4, 1.0, 15)
    found = score([Plain(float(e)) for e in errors])
    reference = ttest_1samp(errors, 0.0).confidence_interval(0.95)
    assert (found.bias_low, found.bias_high) == pytest.approx((reference.low, reference.high))
    assert found.rms**2 == pytest.approx(found.bias**2 + float(errors.var()))


def test_one_run_says_nothing_of_spread() -> None:
    found = score([Plain(0.1, True)])
    assert found.spread is None
    assert found.bias_low is None
    assert not found.biased
    assert found.band == "unknown"
    assert "too few" in found.sentences("Belt", "of moisture", "too dry", 100.0, "points")[0]


def test_a_dry_forecast_is_said_to_be_dry() -> None:
    rows = [Plain(0.004 + 0.0005 * (i % 3 - 1), i % 4 == 0) for i in range(20)]
    said = score(rows).sentences("Belt 1", "of moisture", "too dry", 100.0, "points")
    assert said[0].startswith("Belt 1: the forecasts of moisture are 0.40 points too dry (±")
    assert "held 5 of 20" in said[1]
    assert said[1].endswith("too narrow.")


@pytest.mark.parametrize(("miss", "inside"), [(0.019, True), (-0.019, True), (0.0291, False)])
def test_a_band_is_widened_by_the_meter(miss: float, inside: bool) -> None:
    pair = Pair(0.10, 0.10 + miss, 0.008, 0.006)  # together 0.01
    assert pair.inside is inside


def test_every_finished_run_of_the_demo_is_counted_once(demo_works: Works) -> None:
    found = holdout(demo_works)
    finished = demo_works.book.events_in_force(kind="stage_finished")
    assert len(found.outcomes) + sum(found.skipped.values()) == len(finished)
    for level in ("stage", "machine", "leaf", "month"):
        assert sum(g.runs for g in found.groups if g.level == level) == len(found.outcomes)


def test_measured_is_what_the_book_holds(demo_works: Works) -> None:
    for outcome in holdout(demo_works, "kelp").outcomes:
        run = demo_works.book.runs(ids=[outcome.run_id])[0]
        end = demo_works.book.event(run.finished_by).event
        mass_kg = sum(m.mass_g for m in end.outputs) / 1000.0
        assert outcome.site == "kelp"
        assert outcome.pairs["mass_kg"].measured == pytest.approx(mass_kg)
        assert run.finished_at is not None
        hours = (run.finished_at - run.started_at).total_seconds() / 3600.0
        if "hours" in outcome.pairs:
            assert outcome.pairs["hours"].measured == pytest.approx(hours)


def test_a_biased_forecast_shows_with_its_side(demo_works: Works) -> None:
    """The belts' forecasts moved by two points: the report finds the two points and their side."""
    from wareleaf.works import holdout as job

    before, _ = job.outcomes(demo_works, "kelp")

    def moved(o: Outcome) -> Pair:
        pair = o.pairs["moisture_wb"]
        return Pair(pair.predicted - 0.02, pair.measured, pair.predicted_sd, pair.measured_sd)

    belts = [o for o in before if o.stage == "dry"]
    plain = score([o.pairs["moisture_wb"] for o in belts])
    biased = score([moved(o) for o in belts])
    assert biased.bias - plain.bias == pytest.approx(0.02)


def test_runs_without_a_forecast_are_counted_not_scored(
    demo_works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = len(holdout(demo_works, "tea").outcomes)
    real = type(demo_works.book).events_in_force

    def bare(self: object, *args: object, **given: object) -> list[object]:
        events = real(self, *args, **given)  # type: ignore[arg-type]
        for event in events:
            if event.kind == "stage_started" and event.facts["equipment"] == "roller-1":
                event.facts.pop("predicted", None)  # type: ignore[attr-defined]
        return list(events)

    rolled = sum(o.equipment == "roller-1" for o in holdout(demo_works, "tea").outcomes)
    monkeypatch.setattr(type(demo_works.book), "events_in_force", bare)
    found = holdout(demo_works, "tea")
    assert rolled > 0
    assert sum(found.skipped.values()) == rolled
    assert len(found.outcomes) == whole - rolled


def test_an_unknown_site_is_refused(demo_works: Works) -> None:
    with pytest.raises(BadInput):
        holdout(demo_works, "moon")
