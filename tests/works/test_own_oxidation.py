"""A floor learns its rate of oxidation from samples: in the book, the view and the hold-out."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages.common import StageReading
from wareleaf.works.charge import charge_that_went_on
from wareleaf.works.demo.tea_days import OXIDISES, SAMPLED_MIN
from wareleaf.works.floor import run_view
from wareleaf.works.holdout import holdout
from wareleaf.works.house import Works
from wareleaf.works.own_rates import own_rates, worth
from wareleaf.works.predict import own_rate
from wareleaf.works.predict.base import Ask
from wareleaf.works.predict.own_oxidation import OwnOxidation
from wareleaf.works.predict.own_rate import FEWEST, earlier, says
from wareleaf.works.predict.tea import NO_LINK, oxidise_run_of, predict_oxidise
from wareleaf.works.run_stage import Off, finish_run, record_reading
from wareleaf.works.runs_done import Done, runs_done
from wareleaf.works.settings import Equipment


def on_floor(works: Works) -> tuple[Equipment, list[Done]]:
    machine = works.settings.equipment_of("floor-1")
    done = list(runs_done(works, machine, "tea_black", works.now() - timedelta(days=60)))
    assert len(done) > FEWEST + 3
    return machine, done


def ask_of(works: Works, machine: Equipment, done: Done, **more: Any) -> Ask:
    charge = charge_that_went_on(done.end, done.lots, done.started_at)
    return Ask(works, machine, charge, done.settings, done.started_at, **more)


def with_colour(machine: Equipment, **more: float) -> Equipment:
    link = {"colour_start": -8.0, "colour_end": 24.0, **more}
    return machine.model_copy(update={"settings": {**machine.settings, **link}})


def test_a_run_keeps_what_was_read_of_its_leaf(demo_works: Works) -> None:
    _, done = on_floor(demo_works)
    for each in done:
        assert [r.quantity for r in each.read] == ["theaflavin_fraction"] * 2
        assert [60 * r.time_h for r in each.read] == pytest.approx(SAMPLED_MIN, abs=8.0)


def test_the_floor_learns_and_the_forecast_uses_it(demo_works: Works) -> None:
    machine, done = on_floor(demo_works)
    rate = own_rate(demo_works, machine, "tea_black", demo_works.now())
    assert isinstance(rate, OwnOxidation)
    assert abs(rate.log_mean - math.log(OXIDISES)) < 3.0 * rate.log_sd
    plain, own = (
        predict_oxidise(ask_of(demo_works, machine, done[-1], rate=r)) for r in (None, rate)
    )
    assert rate.source in own.sources
    slower = own.detail["peak_min"] / plain.detail["peak_min"]
    assert slower == pytest.approx(1.0 / rate.multiplier, rel=0.05)
    run = oxidise_run_of(ask_of(demo_works, machine, done[-1], rate=rate))
    assert run.rate_log_sd == pytest.approx(math.hypot(rate.log_sd, rate.lot_log_sd))


def test_a_forecast_knows_no_sample_that_was_recorded_later(demo_works: Works) -> None:
    """A bench that answers a week late teaches from then on, and nothing before."""
    machine, done = on_floor(demo_works)
    each = done[FEWEST + 1]
    at = demo_works.now()
    before = [len(d.readings) for d in earlier(done, at)]
    known = own_rate(demo_works, machine, "tea_black", at)
    slow = 0.4 * each.read[-1].value
    record_reading(
        demo_works,
        "mirel",
        run_id=each.run_id,
        meter="tea-infusion",
        value=slow,
        at=each.finished_at - timedelta(minutes=1),
    )
    again = on_floor(demo_works)[1]
    assert len(again[FEWEST + 1].readings) == 3
    assert [len(d.readings) for d in earlier(again, at)] == before
    assert own_rate(demo_works, machine, "tea_black", at) == known
    after = own_rate(demo_works, machine, "tea_black", demo_works.now() + timedelta(seconds=1))
    assert after is not None
    assert after != known


def test_samples_recorded_around_the_end_of_a_run_count_once(demo_works: Works) -> None:
    """One before the leaf is off and one after, with nobody asking in between."""
    machine, done = on_floor(demo_works)
    run = next(
        r for r in demo_works.book.runs(site="tea", open_only=True) if r.equipment == machine.id
    )
    moments = (timedelta(minutes=5), timedelta(minutes=6))

    def sample(taken: timedelta) -> None:
        record_reading(
            demo_works,
            "mirel",
            run_id=run.run_id,
            meter="tea-infusion",
            value=0.002,
            at=run.started_at + taken,
        )

    before = len(as_read(demo_works, run.run_id))
    sample(moments[0])
    off = Off(400.0, 0.66, "tea-balance", "tea-floor-scale")
    finish_run(demo_works, "davin", run.run_id, [off])
    sample(moments[1])
    last = next(d for d in on_floor(demo_works)[1] if d.run_id == run.run_id)
    assert len(last.readings) == before + 2
    assert len({e.event_id for e in last.readings}) == len(last.readings)
    assert len(done) + 1 == len(on_floor(demo_works)[1])


def as_read(works: Works, run_id: str) -> list[Any]:
    found = run_view(works, run_id).readings
    return [e for e in found if e.facts["quantity"] == "theaflavin_fraction"]


def test_a_sample_taken_after_the_bin_was_weighed_is_not_of_the_run(demo_works: Works) -> None:
    _, done = on_floor(demo_works)
    record_reading(
        demo_works,
        "mirel",
        run_id=done[0].run_id,
        meter="tea-infusion",
        value=0.004,
        at=done[0].finished_at + timedelta(hours=1),
    )
    assert len(on_floor(demo_works)[1][0].readings) == 2


def test_readings_that_no_floor_gives_are_left_out_with_a_reason(demo_works: Works) -> None:
    machine, done = on_floor(demo_works)
    each = done[2]
    assert says(demo_works, machine, each).why_not() == ""
    record_reading(
        demo_works,
        "mirel",
        run_id=each.run_id,
        meter="tea-infusion",
        value=0.0001,
        at=each.started_at + timedelta(minutes=120),
    )
    again = on_floor(demo_works)[1][2]
    said = says(demo_works, machine, again)
    assert said.log_likelihood() is None
    assert "No rate and no yield in reach" in said.why_not()


def test_a_colour_counts_where_the_trial_links_it(demo_works: Works) -> None:
    machine, done = on_floor(demo_works)
    reading = StageReading(0.75, "colour_index", -2.0, 1.0)
    unlinked = predict_oxidise(ask_of(demo_works, machine, done[-1], readings=(reading,)))
    bare = predict_oxidise(ask_of(demo_works, machine, done[-1]))
    assert unlinked.detail == bare.detail
    assert unlinked.advice.endswith(NO_LINK)
    linked = with_colour(machine)
    quick, slow = (
        predict_oxidise(
            ask_of(demo_works, linked, done[-1], readings=(replace(reading, value=value),))
        )
        for value in (4.0, -6.0)
    )
    assert quick.detail["peak_min"] < bare.detail["peak_min"] < slow.detail["peak_min"]
    share = StageReading(0.75, "oxidised_share", (-2.0 + 8.0) / 32.0, 1.0 / 32.0)
    same = predict_oxidise(ask_of(demo_works, linked, done[-1], readings=(reading,)))
    assert same.detail["peak_min"] == pytest.approx(
        predict_oxidise(ask_of(demo_works, linked, done[-1], readings=(share,))).detail["peak_min"]
    )


def test_a_run_with_a_colour_alone_speaks_of_the_rate(demo_works: Works) -> None:
    machine, done = on_floor(demo_works)
    bare = replace(done[-1], readings=(), notes={})
    assert not bare.tells
    event = done[-1].readings[0]
    colour = replace(
        event,
        facts={
            **event.facts,
            "quantity": "colour_index",
            "value": 0.0,
            "standard_uncertainty": 1.0,
        },
    )
    seen = replace(bare, readings=(colour,), notes={})
    assert "no colour_start" in says(demo_works, machine, seen).why_not()
    said = says(demo_works, with_colour(machine), replace(seen, notes={}))
    assert said.why_not() == ""
    likely = said.log_likelihood()
    assert likely is not None
    assert np.argmax(likely) not in (0, likely.size - 1)
    assert said.theaflavin(0.0, 0.2) is None


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"colour_end": -8.0}, "shows nothing"),
        ({"colour_end": "dark"}, "must both be numbers"),
    ],
)
def test_a_colour_link_that_cannot_be_is_refused(
    demo_works: Works, more: dict[str, Any], sentence: str
) -> None:
    machine, done = on_floor(demo_works)
    with pytest.raises(BadInput, match=sentence):
        predict_oxidise(ask_of(demo_works, with_colour(machine, **more), done[-1]))


def test_a_sample_moves_the_forecast_of_a_running_floor(demo_works: Works) -> None:
    machine, done = on_floor(demo_works)
    bare = predict_oxidise(ask_of(demo_works, machine, done[-1]))
    slow = StageReading(1.0, "theaflavin_fraction", 0.002, 0.0001)
    seen = predict_oxidise(ask_of(demo_works, machine, done[-1], readings=(slow,)))
    assert seen.detail["theaflavin_fraction"] < 0.8 * bare.detail["theaflavin_fraction"]
    assert seen.advice.startswith("By the readings best about")
    assert "by the readings" not in bare.advice.lower()


def test_the_holdout_report_holds_theaflavin_against_the_kept_forecast(demo_works: Works) -> None:
    _, done = on_floor(demo_works)
    report = holdout(demo_works, "tea")
    found = {o.run_id: o.pairs["theaflavin"] for o in report.outcomes if "theaflavin" in o.pairs}
    assert set(found) >= {d.run_id for d in done}
    last = done[-1]
    course = last.start.facts["predicted"]["theaflavin_course"]
    minutes, mean, sd = zip(*course, strict=True)
    at = 60.0 * last.read[-1].time_h
    pair = found[last.run_id]
    assert pair.predicted == pytest.approx(float(np.interp(at, minutes, mean)))
    assert pair.predicted_sd == pytest.approx(float(np.interp(at, minutes, sd)))
    assert pair.measured == last.read[-1].value
    season = next(g for g in report.groups if g.level == "season" and g.stage == "oxidise")
    assert season.scores["theaflavin"].n == len(found)


def test_the_page_shows_what_the_floor_learned(demo_works: Works) -> None:
    views = own_rates(demo_works, "tea")
    view = next(v for v in views if v.machine.id == "floor-1")
    assert view.learned is not None
    assert view.learned.enough
    assert "oxidise" in view.sentence
    assert "the model" in view.sentence
    assert view.own_score is not None
    assert view.own_score.n == sum(1 for s in view.runs if s.taught_by)
    assert "theaflavin" in worth([view])
    assert "moisture" not in worth([view])


def test_a_run_that_is_over_still_takes_its_samples(demo_works: Works) -> None:
    _, done = on_floor(demo_works)
    view = run_view(demo_works, done[-1].run_id)
    assert len([e for e in view.readings if e.facts["quantity"] == "theaflavin_fraction"]) == 2
    with pytest.raises(BadInput, match="0 to 10 %"):
        record_reading(demo_works, "mirel", run_id=done[-1].run_id, meter="tea-infusion", value=0.6)
