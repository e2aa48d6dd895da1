"""Charges carried along draws: nothing is made or forgotten."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.accounts import Move, Part, Rates, carry, run_charges
from wareleaf.measure import BadInput


def test_one_load_from_rope_to_packet_by_hand():
    # 1000 kg kelp (100 kg dry) at 500; dried for 300 with 2 kg dry lost; half of it packed for 20.
    moves = [
        Move("e1", (), (Part("fresh", 100_000),), {"leaf": 500.0}),
        Move("e2", (Part("fresh", 100_000),), (Part("dried", 98_000),), {"fuel": 300.0}),
        Move("e3", (Part("dried", 49_000),), (Part("packed", 49_000),), {"packaging": 20.0}),
        Move("e4", (Part("packed", 49_000),), ()),
    ]
    ledger = carry(moves)
    assert dict(ledger.lots["dried"].remaining) == {"leaf": 250.0, "fuel": 150.0}
    assert ledger.left["e4"] == {"packaging": 20.0, "leaf": 250.0, "fuel": 150.0}
    assert ledger.lots["fresh"].remaining == {"leaf": 0.0}
    # 98 kg dry at 2 % moisture are 100 kg: 8.00 a kg in all.
    assert sum(ledger.lots["dried"].per_kg(0.02).values()) == pytest.approx(8.0)


def test_a_blend_and_a_split_go_by_dry_matter():
    moves = [
        Move("a", (), (Part("A", 30_000),), {"leaf": 300.0}),
        Move("b", (), (Part("B", 10_000),), {"leaf": 50.0}),
        Move("c", (Part("A", 15_000), Part("B", 5_000)), (Part("X", 5_000), Part("Y", 15_000))),
    ]
    ledger = carry(moves)
    assert ledger.lots["X"].made_with["leaf"] == pytest.approx((150.0 + 25.0) / 4.0)
    assert ledger.lots["Y"].made_with["leaf"] == pytest.approx((150.0 + 25.0) * 3.0 / 4.0)


def test_refuse_carries_nothing_and_all_refuse_carries_all():
    made = (Part("good", 9_000), Part("refuse", 1_000, weight=0.0))
    start = Move("a", (), (Part("A", 10_000),), {"leaf": 100.0})
    ledger = carry([start, Move("s", (Part("A", 10_000),), made)])
    assert ledger.lots["good"].made_with["leaf"] == pytest.approx(100.0)
    assert ledger.lots["refuse"].made_with["leaf"] == 0.0
    only = carry([start, Move("s", (Part("A", 10_000),), (Part("R", 9_000, weight=0.0),))])
    assert only.lots["R"].made_with["leaf"] == pytest.approx(100.0)


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_charges_are_conserved_on_random_books(data):
    moves, left = [], {}
    for i in range(data.draw(st.integers(1, 25))):
        open_lots = [k for k, v in left.items() if v > 0]
        chosen = data.draw(st.lists(st.sampled_from(open_lots), unique=True)) if open_lots else []
        draws = []
        for lot in chosen:
            grams = data.draw(st.integers(0, left[lot]))
            left[lot] -= grams
            draws.append(Part(lot, grams))
        whole = sum(p.dry_g for p in draws) if draws else data.draw(st.integers(1, 10**6))
        made = []
        for j in range(data.draw(st.integers(0, 3)) if draws else 1):
            grams = data.draw(st.integers(0, whole))
            whole -= grams
            made.append(Part(f"L{i}.{j}", grams, data.draw(st.sampled_from([0.0, 1.0, 2.5]))))
            left[f"L{i}.{j}"] = grams
        head = data.draw(st.sampled_from(["leaf", "fuel", "labour", "co2e"]))
        charge = {head: data.draw(st.floats(-1e3, 1e6))}
        moves.append(Move(f"e{i}", tuple(draws), tuple(made), charge))
    ledger = carry(moves)
    for head, total in ledger.total().items():
        charged = math.fsum(m.charges.get(head, 0.0) for m in moves)
        scale = math.fsum(abs(m.charges.get(head, 0.0)) for m in moves)
        assert total == pytest.approx(charged, abs=1e-9 * max(scale, 1.0))


@pytest.mark.parametrize(
    "moves",
    [
        [Move("x", (Part("ghost", 1),), ())],
        [Move("a", (), (Part("A", 10),)), Move("b", (Part("A", 11),), ())],
        [Move("a", (), (Part("A", 10),)), Move("b", (), (Part("A", 10),))],
        [Move("a", (), (Part("A", 10),), {"leaf": math.nan})],
        [Move("a", (), (Part("A", -10),))],
        [Move("a", (), (Part("A", 10, weight=-1.0),))],
        [Move("a", (), (Part("A", 10),)), Move("b", (Part("A", 6), Part("A", 6)), ())],
    ],
)
def test_books_that_cannot_be(moves):
    with pytest.raises(BadInput):
        carry(moves)


def test_run_charges():
    rates = Rates(labour_per_h=20.0, electricity_per_kwh=0.25, fuel_per_kg={"wood": 0.2})
    charges = run_charges(rates, labour_h=2.0, electricity_kwh=40.0, fuel="wood", fuel_kg=100.0)
    assert charges == {"labour": 40.0, "electricity": 10.0, "fuel": 20.0}
    with pytest.raises(BadInput, match="wood"):
        run_charges(rates, fuel="lpg", fuel_kg=1.0)
    with pytest.raises(BadInput):
        run_charges(rates, labour_h=-1.0)
