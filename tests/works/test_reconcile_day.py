"""Reconciling days of the demo, and a works of two loads with a wrong weight. Data invented."""

from datetime import date

import pytest

from wareleaf.works.reconcile_day import reconcile_day, reconcile_stretch

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
    assert len({lot for lot, _ in stretch.lots}) == len(stretch.lots)
