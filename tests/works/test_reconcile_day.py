"""Reconciling days of the demo, and a works of two loads with a wrong weight. Data invented."""

from datetime import date, timedelta

import pytest

from wareleaf.works.demo.faults import PLANTED
from wareleaf.works.reconcile_day import reconcile_day, reconcile_stretch, week_of

pytestmark = pytest.mark.slow


def test_clean_days_fit_and_an_empty_day_says_so(clean_works):
    days = [
        reconcile_day(clean_works, site, date(2026, 5, n))
        for site in ("kelp", "tea")
        for n in range(1, 9)
    ]
    moved = [d for d in days if d.dry is not None]
    assert len(moved) >= 12
    # 5 % level for each of some thirty tests: two or three may ring, more would be wrong
    assert sum(bool(d.doubts) for d in moved) <= 3
    empty = reconcile_day(clean_works, "kelp", date(2020, 1, 1))
    assert empty.dry is None
    assert empty.sentences == ("Nothing moved.",)


def test_a_season_in_one_go(clean_works):
    stretch = reconcile_stretch(clean_works, "tea", date(2026, 4, 1), date(2026, 5, 8))
    assert stretch.dry is not None
    assert stretch.dry.global_test.dof > 50
    assert stretch.dry.global_test.p_value > 0.001
    assert "numbers check each other" in stretch.sentences[0]
    assert len({f.lot_id for f in stretch.lots}) == len(stretch.lots)
    assert "checked by nothing" in stretch.sentences[2]
    assert all(f.dry.fitted_g is not None for f in stretch.lots)  # every lot was weighed


def test_the_planted_faults_show_in_the_season_and_nothing_else_does(month_works):
    """The load with the wrong tare and the split that lost leaf; what only the watch's own checks
    can see (meter, iodine, packs, a wet lot) moves no balance."""
    works = month_works
    today = works.now().date()
    kelp = reconcile_stretch(works, "kelp", date(2026, 4, 1), today)
    assert kelp.dry is not None
    load_day = today - timedelta(days=PLANTED.weigh_error[0])
    split_day = today - timedelta(days=PLANTED.bad_split)
    assert {(d.at.date(), d.quantity) for d in kelp.doubts} == {
        (load_day, "dry"),
        (split_day, "dry"),
        (split_day, "mass"),
    }
    load = next(d for d in kelp.doubts if d.at.date() == load_day)
    assert load.booked_g / load.fitted_g == pytest.approx(1.0 + PLANTED.weigh_error_share, abs=0.12)
    lost = next(d for d in kelp.doubts if d.at.date() == split_day and d.quantity == "dry")
    assert lost.what == "gap"  # leaf went missing there; no scale is blamed for it
    assert "went missing in the split" in lost.sentence
    whole = works.book.lot(lost.lot_id)
    assert lost.fitted_g == pytest.approx(PLANTED.bad_split_share * whole.dry_g, rel=0.25)
    # the fit leaves the suspects out, so the wrong load is put right and the others hardly move
    fits = {f.lot_id: f for f in kelp.lots}
    assert fits[load.lot_id].dry.fitted_g == pytest.approx(load.fitted_g, rel=0.02)
    assert fits[load.lot_id].dry.kind == "observable"
    assert reconcile_stretch(works, "tea", date(2026, 4, 1), today).doubts == ()


def test_the_days_of_the_faults_are_told_the_same_day(month_works):
    today = month_works.now().date()
    for days_ago in (PLANTED.weigh_error[0], PLANTED.bad_split):
        assert reconcile_day(month_works, "kelp", today - timedelta(days=days_ago)).doubts


def test_a_week_is_monday_to_sunday():
    assert week_of(date(2026, 5, 8)) == (date(2026, 5, 4), date(2026, 5, 10))
    assert week_of(date(2026, 5, 4)) == (date(2026, 5, 4), date(2026, 5, 10))
