"""A fault followed to the end: by hand on a small book, and by properties."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book import Draw, Event, LotState, Made, Stream
from wareleaf.measure import BadInput
from wareleaf.works.recall_flow import follow, to_whole
from wareleaf.works.recall_machine import tail_hours
from wareleaf.works.settings import Equipment

AT = datetime(2026, 4, 8, 6, 0, tzinfo=UTC)


def lot(lot_id: str, dry_g: int, **more: object) -> LotState:
    state = LotState(lot_id, "tea_black", "dried", "store", "tea", "", AT, 1000, dry_g, 1.0, 1.0)
    return replace(state, **more)


def event(event_id: str, kind: str, draws: list[Draw], made: list[str], *lost: Stream) -> Event:
    outputs = tuple(
        Made(k.split()[0], "tea_black", "dried", "store", 1000, int(k.split()[1]), 1.0, 1.0)
        for k in made
    )
    return Event(event_id, kind, AT, AT, "tea", inputs=tuple(draws), outputs=outputs, streams=lost)


def small_book() -> tuple[dict[str, LotState], list[Event]]:
    """A (100 g dry) and B (300 g) give C (380 g), 12 g of dust and 8 g nobody explains.

    C: 190 g shipped, 10 g sampled, 20 g wasted, 160 g in stock. A keeps nothing, B nothing.
    """
    used = {"drawn_mass_g": 1000}
    lots = {
        "A": lot("A", 100, drawn_dry_g=100, **used),
        "B": lot("B", 300, drawn_dry_g=300, **used),
        "C": lot("C", 380, drawn_mass_g=600, drawn_dry_g=220, shipped_dry_g=190),
    }
    events = [
        event(
            "mix",
            "stage_finished",
            [Draw("A", 1000, 100), Draw("B", 1000, 300)],
            ["C 380"],
            Stream("dust", 12, 12),
        ),
        event("send", "ship", [Draw("C", 500, 190)], []),
        event("test", "sample", [Draw("C", 40, 10)], [], Stream("sample", 40, 10)),
        event("bin", "waste", [Draw("C", 60, 20)], [], Stream("waste", 60, 20)),
    ]
    return lots, events


def test_a_small_book_worked_by_hand():
    # A is 100 of the 400 g drawn: a quarter of all that follows. By hand, in grams:
    # 160/4 in stock, 190/4 shipped, 10/4 sampled, 20/4 wasted, 12/4 dust, 8/4 unexplained.
    lots, events = small_book()
    flow = follow(["A"], lots, events)
    assert flow.share == {"A": 1.0, "C": 0.25}
    assert flow.level == {"A": 0, "C": 1}
    last = flow.last
    assert (last.total_g, last.in_stock_g, last.waste_g, last.unexplained_g) == (100, 40, 5, 2)
    # 47.5 and 2.5 g: one goes up and one down, so that the whole stays 100 g
    assert last.shipped_g + last.samples_g == 50
    assert last.losses_g == {"dust": 3}
    assert last.accounted == pytest.approx(0.98)
    assert (flow.first.used_on_g, flow.first.losses_g, flow.first.unexplained_g) == (
        95,
        {"dust": 3},
        2,
    )
    assert [(g.event_id, g.dry_g) for g in flow.gaps] == [("mix", 2.0)]


def test_a_lot_at_fault_made_of_another_at_fault_is_not_counted_twice():
    lots, events = small_book()
    flow = follow(["A", "C"], lots, events)
    # C is at fault as a whole; A brought a quarter of it, so it adds three quarters of 380 g
    assert flow.entered_g == {"A": 100.0, "C": 285.0}
    assert flow.last.total_g == 385
    assert flow.last.in_stock_g == 160
    assert flow.last.shipped_g == 190
    assert flow.first.accounted_g + flow.first.unexplained_g == 385


def test_more_out_than_in_is_shown_and_not_hidden():
    lots, events = small_book()
    lots["C"] = replace(lots["C"], dry_g=460, mass_g=1000)
    events[0] = replace(events[0], outputs=(replace(events[0].outputs[0], dry_g=460),))
    last = follow(["A"], lots, events).last
    assert last.unexplained_g == -18  # (400 - 460 - 12) / 4
    assert last.accounted == pytest.approx(1.18)
    assert last.accounted_g + last.unexplained_g == last.total_g == 100


def test_a_lot_on_an_open_run_is_on_a_machine():
    lots, events = small_book()
    lots["C"] = replace(lots["C"], on_runs=("R-1",))
    last = follow(["A"], lots, events).last
    assert (last.in_stock_g, last.on_machines_g) == (0, 40)


def test_a_cycle_is_refused():
    lots, _ = small_book()
    loop = [
        event("1", "combine", [Draw("A", 10, 10)], ["C 10"]),
        event("2", "combine", [Draw("C", 10, 10)], ["A 10"]),
    ]
    with pytest.raises(BadInput, match="own ancestors"):
        follow(["A"], lots, loop)


@settings(deadline=None, max_examples=200)
@given(st.lists(st.floats(-1e7, 1e7), min_size=1, max_size=12))
def test_rounded_parts_add_up_and_none_moves_by_a_gram(values):
    parts = {str(i): v for i, v in enumerate(values)}
    total = round(math.fsum(values))
    whole = to_whole(parts, total)
    assert sum(whole.values()) == total
    assert all(abs(whole[k] - parts[k]) <= 1.0 for k in parts)


def test_parts_that_do_not_add_up_are_not_rounded_into_place():
    with pytest.raises(ArithmeticError):
        to_whole({"a": 10.0, "b": 20.0}, 40)


def test_a_bath_holds_one_percent_after_its_washout():
    # A stirred tank keeps exp(-t Q / V) of its first contents (textbook washout); with 5000 kg and
    # 1800 kg/h that is 1 % after ln(100) * 5000 / 1800 h.
    bath = Equipment(
        id="bath",
        site="kelp",
        name="Bath",
        stage="blanch",
        kind="blanch_bath",
        rate_kg_h=900.0,
        settings={"water_kg": 5000.0, "refresh_kg_per_kg": 2.0},
    )
    hours = tail_hours(bath)
    assert hours == pytest.approx(12.79, abs=0.01)
    assert math.exp(-hours * 1800.0 / 5000.0) == pytest.approx(0.01)
    still = bath.model_copy(update={"settings": {"water_kg": 5000.0}})
    assert tail_hours(still) == math.inf
    dryer = bath.model_copy(update={"kind": "belt_dryer"})
    assert tail_hours(dryer) == 0.0
