"""A day's balance by hand, and how uncertain what is unexplained is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.book.book_makers import (
    at,
    event,
    finish,
    intake,
    made,
    release,
    ship,
    split,
    start,
)

from wareleaf import book

DAY = (at(0), at(24 * 60))


def day_of(events, site=""):
    return book.balance(events, book.fold(events).lots, *DAY, site)


def test_a_day_by_hand():
    # 1,000 kg fresh (100 kg dry) -> 110 kg dried (98 kg dry), 0.5 kg dust, 60 kg of it shipped
    events = [
        intake("i", "K", 1_000_000, 100_000),
        start("s", "R", ["K"]),
        finish(
            "f",
            "R",
            [("K", 1_000_000, 100_000)],
            [made("D", 110_000, 98_000, form="dried")],
            [("water", 889_500, 0), ("dust", 500, 500)],
        ),
        release("r", "D"),
        ship("t", [("D", 60_000, 53_455)]),
    ]
    day = day_of(events)
    assert day.dry.taken_in_g == 100_000
    assert day.dry.shipped_g == 53_455
    assert day.dry.losses_g == {"dust": 500, "water": 0}
    assert day.dry.stock_change_g == 98_000 - 53_455
    assert day.dry.unexplained_g == 100_000 - 98_000 - 500
    assert day.dry.left_over_g == 0
    assert day.mass.taken_in_g == 1_000_000
    assert day.mass.losses_g == {"dust": 500, "water": 889_500}
    assert day.mass.unexplained_g == 0
    assert day.mass.left_over_g == 0


def test_uncertainty_of_a_drying_is_that_of_the_lot_in_and_the_lot_out():
    # independent errors add as squares (JCGM 100:2008, 5.1.2); 1/12 g2 for each rounded number
    events = [
        intake("i", "K", 1_000_000, 100_000, mass_sd_g=1000.0, dry_sd_g=3000.0),
        event(
            "f",
            "blend",
            9,
            inputs=[("K", 1_000_000, 100_000)],
            outputs=[made("D", 110_000, 98_000, mass_sd_g=100.0, dry_sd_g=400.0)],
            streams=[("water", 890_000, 0)],
        ),
    ]
    lots = book.fold(events).lots
    mass_sd, dry_sd = book.unexplained_sd(events[1], lots)
    assert mass_sd == pytest.approx(math.sqrt(1000**2 + 100**2 + 3 / 12))
    assert dry_sd == pytest.approx(math.sqrt(3000**2 + 400**2 + 3 / 12))
    assert day_of(events).dry.z == pytest.approx(2000 / dry_sd)


def test_a_draw_of_a_quarter_carries_a_quarter_of_the_uncertainty():
    events = [
        intake("i", "K", 1_000_000, 100_000, mass_sd_g=1000.0, dry_sd_g=3000.0),
        event(
            "f",
            "blend",
            9,
            inputs=[("K", 250_000, 25_000)],
            outputs=[made("D", 28_000, 25_000)],
            streams=[("water", 222_000, 0)],
        ),
    ]
    lots = book.fold(events).lots
    mass_sd, dry_sd = book.unexplained_sd(events[1], lots)
    assert mass_sd == pytest.approx(250.0, rel=1e-4)
    assert dry_sd == pytest.approx(750.0, rel=1e-4)


def test_a_lot_made_and_used_up_in_the_day_adds_no_uncertainty_of_its_own():
    def chain(middle_sd):
        return [
            intake("i", "K", 1000, 100),
            event("a", "blend", 5, inputs=[("K", 1000, 100)],
                  outputs=[made("M", 500, 99, mass_sd_g=middle_sd, dry_sd_g=middle_sd)]),
            event("b", "blend", 9, inputs=[("M", 500, 99)], outputs=[made("D", 120, 98)]),
        ]  # fmt: skip

    exact, vague = day_of(chain(0.0)), day_of(chain(50.0))
    assert exact.dry.unexplained_sd_g == vague.dry.unexplained_sd_g
    assert exact.mass.unexplained_sd_g == vague.mass.unexplained_sd_g


def test_a_split_carries_the_moisture_so_only_weighing_can_explain_a_gap():
    # 1,000 kg +/- 1 kg with moisture 90 % +/- 0.5 points; the parts lack 20 kg
    events = [
        intake("i", "K", 1_000_000, 100_000, mass_sd_g=1000.0, dry_sd_g=5001.0),
        split(
            "s",
            "K",
            {"A": (500_000, 50_000), "B": (480_000, 48_000)},
            draw=(1_000_000, 100_000),
        ),
    ]
    lots = book.fold(events).lots
    # weighing: 0.1 * 1000 g; moisture: of the missing 2 % of the lot only
    moisture = math.sqrt(5001**2 - 100**2)
    wanted = math.sqrt(100**2 + (0.02 * moisture) ** 2 + 3 / 12)
    assert book.unexplained_sd(events[1], lots)[1] == pytest.approx(wanted)
    found = book.unbalanced(events, lots)
    assert [i.event_id for i in found] == ["s"]
    assert found[0].z == pytest.approx(2000 / wanted)
    assert "Split from K: 2 kg of dry matter is missing" in found[0].sentence


def test_a_split_that_balances_raises_no_alarm():
    events = [
        intake("i", "K", 1_000_000, 100_000, mass_sd_g=1000.0, dry_sd_g=5000.0),
        split(
            "s",
            "K",
            {"A": (600_500, 60_050), "B": (400_000, 40_000)},
            draw=(1_000_000, 100_000),
        ),
    ]
    assert book.unbalanced(events, book.fold(events).lots) == []


def test_a_meter_that_shows_the_figure_of_before_has_measured_all_the_same():
    """Rolled leaf read at the moisture it went on with carries both readings' doubt."""
    parent = intake("E1", "A", 1_000_000, 300_000)
    sd = {"mass_sd_g": 500.0, "dry_sd_g": 6_000.0}
    rolled = made("B", 990_000, 297_000, form="rolled", **sd)
    read = made("B", 990_000, 297_000, form="rolled", attributes={"moisture_meter": "quick"}, **sd)
    water = ("water", 10_000, 0)

    def doubt(out):
        events = [
            replace(parent, outputs=(replace(parent.outputs[0], **sd),)),
            start("E2", "R", ["A"]),
            finish("E3", "R", (("A", 1_000_000, 300_000),), (out,), (water,)),
        ]
        return book.unexplained_sd(events[2], book.fold(events).lots)[1]

    assert doubt(read) > 10.0 * doubt(rolled)
    assert doubt(read) == pytest.approx(math.hypot(6_000.0, 6_000.0), rel=1e-3)


def test_a_part_of_a_split_brings_only_its_own_weighing_error():
    # parts of 500 kg +/- 0.2 kg whose dry matter of 50 kg is known to 2.5 kg, moisture and all
    parts = [made(k, 500_000, 50_000, mass_sd_g=200.0, dry_sd_g=2500.0) for k in ("A", "B")]
    events = [
        intake("i", "K", 1_000_000, 100_000, mass_sd_g=1000.0, dry_sd_g=5000.0),
        event("s", "split", 5, inputs=[("K", 1_000_000, 100_000)], outputs=parts),
    ]
    lots = book.fold(events).lots
    wanted = math.sqrt(100**2 + 2 * 20**2 + 3 / 12)
    assert book.unexplained_sd(events[1], lots)[1] == pytest.approx(wanted)


def test_the_worst_event_comes_first():
    events = [intake(f"i{n}", f"K{n}", 1000, 100, dry_sd_g=1.0) for n in range(3)]
    for n, dry in enumerate((90, 100, 60)):
        events.append(
            event(f"b{n}", "blend", 9, inputs=[(f"K{n}", 1000, 100)],
                  outputs=[made(f"D{n}", 200, dry, dry_sd_g=1.0)])
        )  # fmt: skip
    found = book.unbalanced(events, book.fold(events).lots)
    assert [i.event_id for i in found] == ["b2", "b0"]


def test_what_an_emptied_lot_still_owes_is_unexplained_at_its_last_draw():
    events = [
        intake("i", "K", 1000, 100, dry_sd_g=2.0),
        event("a", "blend", 5, inputs=[("K", 600, 50)], outputs=[made("A", 100, 50)]),
        event("b", "blend", 9, inputs=[("K", 400, 30)], outputs=[made("B", 100, 30)]),
    ]
    lots = book.fold(events).lots
    assert (lots["K"].remaining_dry_g, lots["K"].residual_dry_g) == (0, 20)
    day = day_of(events)
    assert day.dry.unexplained_g == 20
    assert day.dry.left_over_g == 0
    assert book.unbalanced(events, lots)[0].event_id == "b"


def test_two_sites_and_what_moved_between_them():
    events = [
        intake("i", "K", 1000, 100, site="skerry"),
        event(
            "c",
            "combine",
            9,
            site="glen",
            inputs=[("K", 400, 40)],
            outputs=[made("T", 400, 40)],
        ),
    ]
    skerry, glen, both = day_of(events, "skerry"), day_of(events, "glen"), day_of(events)
    assert (skerry.mass.moved_out_g, skerry.mass.stock_change_g) == (400, 600)
    assert (glen.mass.moved_in_g, glen.mass.stock_change_g) == (400, 400)
    assert both.mass.stock_change_g == 1000
    assert [d.mass.left_over_g for d in (skerry, glen, both)] == [0, 0, 0]


def test_a_count_says_what_is_missing_and_what_was_found():
    events = [
        intake("i", "K", 1000, 100),
        event("c", "count", 5, inputs=[("K", 50, 5)]),
        event("d", "count", 6, outputs=[made("F", 30, 3)]),
    ]
    day = day_of(events)
    assert day.mass.unexplained_g == 50 - 30
    assert day.mass.left_over_g == 0


def test_a_sample_and_a_waste_are_losses_with_a_name():
    events = [
        intake("i", "K", 1000, 100),
        event("s", "sample", 5, inputs=[("K", 20, 2)], streams=[("sample", 20, 2)],
              facts={"lot_id": "K", "sample_id": "S1", "mass_g": 20}),
        event("w", "waste", 6, inputs=[("K", 80, 8)], streams=[("water", 30, 0)]),
    ]  # fmt: skip
    day = day_of(events)
    assert day.mass.losses_g == {"sample": 20, "waste": 50, "water": 30}
    assert day.dry.losses_g == {"sample": 2, "waste": 8, "water": 0}
    assert day.mass.unexplained_g == 0
    assert day.mass.left_over_g == 0


def test_washing_takes_up_water_as_a_gain():
    events = [
        intake("i", "K", 1000, 100),
        event("w", "combine", 5, inputs=[("K", 1000, 100)],
              outputs=[made("W", 1050, 99, form="washed")],
              streams=[("water", -51, 0), ("leached", 1, 1)]),
    ]  # fmt: skip
    assert book.unexplained(events[1]) == book.Amount(0, 0)


def test_the_days_add_up_to_the_week():
    events = [
        intake("i", "K", 1000, 100, minute=0),
        event("a", "blend", 1500, inputs=[("K", 600, 50)], outputs=[made("A", 100, 45)]),
        event("b", "blend", 3000, inputs=[("K", 400, 30)], outputs=[made("B", 100, 31)]),
    ]
    lots = book.fold(events).lots
    week = book.balance(events, lots, at(0), at(10_080))
    days = [book.balance(events, lots, at(1440 * d), at(1440 * (d + 1))) for d in range(7)]
    for name in ("taken_in_g", "stock_change_g", "unexplained_g"):
        assert sum(getattr(d.dry, name) for d in days) == getattr(week.dry, name)
    assert week.dry.stock_change_g == sum(x.remaining_dry_g for x in lots.values())
