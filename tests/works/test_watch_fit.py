"""The watch names what only the whole shows, once; honest days are quiet. Data invented."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.book.book_makers import DAWN, event, intake, made
from tests.fresh_works import fresh_works

from wareleaf.works import demo
from wareleaf.works.reconcile_day import season_of
from wareleaf.works.watch import findings

NIGHT = datetime(2026, 4, 12, 22, 0, tzinfo=UTC)
DEMO = Path(demo.__file__).parent / "works.toml"
SDS = {"mass_sd_g": 100.0, "dry_sd_g": 400.0}


@pytest.fixture
def works(tmp_path):
    made_works = fresh_works(tmp_path / "works", DEMO)
    yield replace(made_works, clock=lambda: NIGHT)
    made_works.book.close()


def parts(second_g: int, second_dry_g: int = 50_000):
    """A load split in two; the second part as it is said to weigh."""
    return [
        intake("E1", "K1", 1_000_000, 100_000, site="kelp", **SDS),
        event(
            "E2",
            "split",
            10,
            site="kelp",
            inputs=[("K1", 1_000_000, 100_000)],
            outputs=[
                made("A", 500_000, 50_000, **SDS),
                made("B", second_g, second_dry_g, **SDS),
            ],
        ),
    ]


def test_an_honest_split_is_quiet(works):
    works.book.append_many(parts(500_000), now=NIGHT)
    assert findings(works) == []


def test_weight_that_only_the_wet_balance_shows_is_named_the_same_day(works):
    """Water from nowhere: dry matter adds up, so the balance of each event has nothing to say."""
    works.book.append_many(parts(505_000), now=NIGHT)
    (found,) = findings(works)
    assert found.kind == "reconcile"
    assert found.severity == "due"
    assert found.at.date() == DAWN.date()
    assert found.subjects[0] == "E1"
    assert {"A", "B", "K1"} == set(found.subjects[1:])  # nothing tells them apart, so all are named
    assert "spilt or not written down in the split of K1" in found.sentence
    assert found.numbers["quantity"] == "mass"
    assert abs(found.numbers["booked_g"] - found.numbers["fitted_g"]) == pytest.approx(5000.0)
    assert findings(works, until=DAWN) == []  # not known before it happened


def test_what_the_balance_says_already_is_not_said_twice(works):
    works.book.append_many(parts(520_000, 58_000), now=NIGHT)
    assert [f.kind for f in findings(works)] == ["balance"]


def test_a_season_begins_after_a_month_of_rest(works):
    old = intake("E0", "K0", site="kelp", minute=-60 * 24 * 60)
    works.book.append_many([old, *parts(500_000)], now=NIGHT)
    assert season_of(works, "kelp", NIGHT) == DAWN
    assert season_of(works, "tea", NIGHT) == NIGHT
