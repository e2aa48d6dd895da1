"""The plan's clock, its worth of leaf and its words."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.works.plan_day.board import build
from wareleaf.works.plan_day.clock import DayClock, crews
from wareleaf.works.plan_day.items import stages_left
from wareleaf.works.plan_day.words import in_words

LISBON = ZoneInfo("Europe/Lisbon")


def test_hours_are_true_hours_on_the_day_the_clocks_go_forward():
    # Summer time in Portugal began on 29 March 2026 at 01:00 (EU rule: last Sunday of March).
    clock = DayClock.of(datetime(2026, 3, 29, 9, 0, tzinfo=LISBON), LISBON)
    assert clock.wall(0, 5.0) == 4.0
    assert clock.wall(1, 5.0) == 28.0
    assert clock.at(4.0).hour == 5
    assert clock.hours(clock.at(13.25)) == 13.25


def test_a_shift_past_midnight_counts_for_the_next_morning(tmp_path):
    small = small_works(
        tmp_path,
        change={
            "people = 3\nfrom_h = 14.0\nuntil_h = 22.0": "people = 3\nfrom_h = 14.0\nuntil_h = 29.0"
        },
    )
    clock = DayClock.of(small.at, small.works.settings.zone)
    shifts = crews(clock, small.works.settings, "kelp", 1)
    assert (-10.0, 5.0, 3) in [(c.from_h, c.to_h, c.count) for c in shifts]


def test_words_have_times_and_names():
    clock = DayClock.of(datetime(2026, 5, 12, 9, 0, tzinfo=LISBON), LISBON)
    said = in_words(
        "X waits 2.5 h for belt-1; it is through at 26.5 h and belt-12 before 50 h.",
        clock,
        {"belt-1": "Belt dryer 1"},
    )
    assert said == (
        "X waits 2.5 h for Belt dryer 1; it is through at 02:30 tomorrow and belt-12 before "
        "02:00 on Thu 14 May."
    )


@pytest.mark.parametrize(
    ("leaf", "form", "left"),
    [
        ("sugar_kelp_raw", "fresh", ("wash", "blanch", "dry")),
        ("sugar_kelp_raw", "washed", ("blanch", "dry")),
        ("sugar_kelp_blanched", "blanched", ("dry",)),
        ("wakame_blade", "fresh", ("wash", "dry")),
        ("sugar_kelp_blanched", "dried", None),
        ("nori_sheet", "fresh", None),
    ],
)
def test_what_is_left_to_do_follows_leaf_and_form(tmp_path, leaf, form, left):
    works = small_works(tmp_path).works
    found = {stages for _, stages in stages_left(works, "kelp", leaf, form)}
    assert found == (set() if left is None else {left})


def test_a_kilogram_is_worth_its_yield_at_the_cheapest_price_less_running_costs(tmp_path):
    small = small_works(tmp_path)
    small.take("line-11", 500.0, 0.90)
    board = build(small.works, "kelp")
    (load,) = board.day.loads
    # Wakame type: 10 % dry matter sold at 90 % dry matter (target 10 % moisture), 38 a kg.
    gross = 0.10 / 0.90 * 38.0
    hours = 500.0 / 1500.0 + 500.0 / 260.0 + 5.0
    labour = hours * 18.0 / 500.0
    assert load.value_per_kg < gross - labour
    # Fuel and electricity are a model's; a kilogram of water takes about 3 to 12 MJ of fuel.
    water = 1.0 - 0.10 / 0.90
    fuel = (gross - labour - load.value_per_kg) / 1.10
    assert 3.0 < fuel * 47.3 / water < 12.0


def test_hold_and_spoil_count_from_the_cut(tmp_path):
    small = small_works(tmp_path)
    small.take("field-a", 500.0)
    fresh = build(small.works, "tea").day.loads[0]
    small.later(3.0)
    waited = build(small.works, "tea").day.loads[0]
    assert waited.ready_h == fresh.ready_h  # it came when it came
    assert waited.ready_h < build(small.works, "tea").day.now_h
    assert waited.hold_h == pytest.approx(fresh.hold_h, abs=1.5)  # only the coming air differs


def test_spoilt_leaf_is_lost_and_not_sold_elsewhere(tmp_path):
    small = small_works(tmp_path)
    small.take("line-01", 500.0)
    small.later(24 * 9.0)
    board = build(small.works, "kelp")
    (load,) = board.day.loads
    assert load.divert_price_per_kg is None
    assert load.way_out(board.day.now_h)[0] == "lose"
