"""Announced loads: they come, they are withdrawn, they are still expected."""

from datetime import timedelta

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.measure import BadInput
from wareleaf.works.expected import announce, expected, withdraw


@pytest.fixture
def small(tmp_path):
    return small_works(tmp_path)


def due(small):
    return [
        x.expected_id
        for x in expected(
            small.works, "kelp", small.at - timedelta(hours=8), small.at + timedelta(days=2)
        )
    ]


def test_an_announced_load_is_expected_at_its_site_only(small):
    load = announce(
        small.works, "teo", "line-01", 1500.0, small.at + timedelta(hours=3), "by radio"
    )
    assert due(small) == [load.expected_id]
    assert (load.mass_kg, load.leaf, load.note) == (1500.0, "sugar_kelp_raw", "by radio")
    assert expected(small.works, "tea", small.at, small.at + timedelta(days=2)) == ()


def test_a_withdrawn_load_is_no_longer_expected_and_cannot_be_withdrawn_twice(small):
    load = announce(small.works, "teo", "line-01", 1500.0, small.at + timedelta(hours=3))
    withdraw(small.works, "teo", load.expected_id, "too much wind")
    assert due(small) == []
    with pytest.raises(BadInput, match="already"):
        withdraw(small.works, "teo", load.expected_id)


@pytest.mark.parametrize(
    ("hours", "arrived"), [(-2.1, False), (-1.9, True), (5.9, True), (6.1, False)]
)
def test_an_intake_counts_from_two_hours_before_to_six_after(small, hours, arrived):
    load = announce(small.works, "teo", "line-01", 1500.0, small.at + timedelta(hours=3))
    small.later(3.0 + hours)
    small.take("line-01", 1480.0)
    small.at = load.arrives_at
    assert (load.expected_id not in due(small)) == arrived


def test_leaf_of_another_line_is_not_the_load(small):
    load = announce(small.works, "teo", "line-01", 1500.0, small.at)
    small.take("line-02", 1500.0)
    assert due(small) == [load.expected_id]


def test_leaf_that_came_in_before_the_call_is_not_the_load(small):
    """The boat that landed an hour ago is not the one that was just called in."""
    small.take("line-01", 1480.0)
    small.later(1.0)
    load = announce(small.works, "teo", "line-01", 1500.0, small.at + timedelta(hours=1))
    assert due(small) == [load.expected_id]


def test_one_intake_answers_one_announcement_the_nearest(small):
    first = announce(small.works, "teo", "line-01", 900.0, small.at + timedelta(hours=1))
    second = announce(small.works, "teo", "line-01", 900.0, small.at + timedelta(hours=3))
    small.later(2.8)
    small.take("line-01", 900.0)
    assert due(small) == [first.expected_id]
    small.later(0.1)
    small.take("line-01", 900.0)
    assert due(small) == []
    assert second.arrives_at > first.arrives_at


def test_impossible_announcements_are_refused(small):
    for mass in (0.0, -5.0, 1e9, float("nan")):
        with pytest.raises(BadInput, match="mass_kg"):
            announce(small.works, "teo", "line-01", mass, small.at)
    with pytest.raises(BadInput, match="time zone"):
        announce(small.works, "teo", "line-01", 900.0, small.at.replace(tzinfo=None))
    with pytest.raises(BadInput, match="ahead"):
        announce(small.works, "teo", "line-01", 900.0, small.at + timedelta(days=30))
    with pytest.raises(BadInput, match="may not"):
        announce(small.works, "auditor", "line-01", 900.0, small.at)
    with pytest.raises(BadInput, match="no source"):
        announce(small.works, "teo", "line-99", 900.0, small.at)
