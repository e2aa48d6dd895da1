"""Where leaf came from: by hand, and against a plain walk over all paths."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.book.book_makers import event, intake, made, split

from wareleaf import book
from wareleaf.measure import BadInput

# 100 kg dry of A and 50 of B blended to X (147 dry); half of X with 20 of C to Y
EVENTS = [
    intake("a", "A", 1000, 100),
    intake("b", "B", 500, 50),
    intake("c", "C", 200, 20),
    event("x", "blend", 5, inputs=[("A", 1000, 100), ("B", 500, 50)],
          outputs=[made("X", 1470, 147)], streams=[("dust", 3, 3)]),
    event("y", "blend", 6, inputs=[("X", 600, 60), ("C", 200, 20)],
          outputs=[made("Y", 500, 50), made("Z", 300, 30)]),
]  # fmt: skip
EDGES = [e for v in EVENTS for e in book.edges_of(v)]


def test_back_by_hand():
    trace = book.trace_back(EDGES, "Y", 50)
    shares = {n.lot_id: n.share for n in trace.nodes}
    assert shares == pytest.approx({"Y": 1, "X": 0.75, "C": 0.25, "A": 0.5, "B": 0.25})
    assert trace.node("A").dry_g == pytest.approx(25)
    assert trace.levels == (("Y",), ("C", "X"), ("A", "B"))
    assert {n.lot_id for n in trace.ends} == {"A", "B", "C"}


def test_forward_by_hand():
    trace = book.trace_forward(EDGES, "A", 100)
    assert trace.node("X").dry_g == pytest.approx(98)  # 147 * 100 / 150
    assert trace.node("Y").dry_g == pytest.approx(50 * 0.75 * 2 / 3)
    assert trace.node("Z").share == pytest.approx(0.5)
    assert {n.lot_id for n in trace.ends} == {"Y", "Z"}


def test_a_lot_from_outside_traces_to_itself():
    trace = book.trace_back(EDGES, "A", 100)
    assert [(n.lot_id, n.share, n.dry_g) for n in trace.ends] == [("A", 1.0, 100)]


def test_leaf_without_dry_matter_is_shared_by_mass():
    e = event("x", "combine", 5, inputs=[("A", 30, 0), ("B", 10, 0)], outputs=[made("X", 40, 0)])
    assert [x.share for x in book.edges_of(e)] == [0.75, 0.25]


def test_a_cycle_in_the_genealogy_is_refused():
    ring = [*EDGES, book.Edge("Y", "A", "z", 1.0, 100, 100, 1.0)]
    with pytest.raises(BadInput, match="among its own ancestors"):
        book.trace_back(ring, "Y")
    with pytest.raises(BadInput, match="among its own ancestors"):
        book.trace_forward(ring, "A")


def all_paths(parents, lot):
    """Sum of share products over every path to each source, in exact fractions."""
    if lot not in parents:
        return {lot: Fraction(1)}
    total = {}
    for parent, share in parents[lot]:
        for source, amount in all_paths(parents, parent).items():
            total[source] = total.get(source, 0) + share * amount
    return total


@settings(deadline=None, max_examples=60)
@given(st.lists(st.lists(st.tuples(st.integers(0, 9), st.integers(1, 9)), max_size=3), min_size=3,
                max_size=12))  # fmt: skip
def test_shares_equal_a_walk_over_all_paths(plan):
    events, parents = [], {}
    for n, drawn in enumerate(plan):
        draws = {}
        for back, dry in drawn:
            if back < n:
                draws[f"L{back}"] = draws.get(f"L{back}", 0) + dry
        if not draws:
            events.append(intake(f"e{n}", f"L{n}", 10_000, 1000))
            continue
        total = sum(draws.values())
        parents[f"L{n}"] = [(k, Fraction(v, total)) for k, v in draws.items()]
        events.append(
            event(f"e{n}", "blend", n, inputs=[(k, v * 10, v) for k, v in draws.items()],
                  outputs=[made(f"L{n}", 10_000, 1000)])
        )  # fmt: skip
    edges = [x for e in events for x in book.edges_of(e)]
    last = f"L{len(plan) - 1}"
    found = {n.lot_id: n.share for n in book.trace_back(edges, last, 1000).ends}
    assert found == pytest.approx({k: float(v) for k, v in all_paths(parents, last).items()})


def test_a_split_shares_its_losses_by_dry_matter():
    e = split("s", "A", {"P": (300, 30), "Q": (600, 60)}, draw=(1000, 100))
    assert [(x.child, x.drawn_share, x.share) for x in book.edges_of(e)] == [
        ("P", pytest.approx(1 / 3), 1.0),
        ("Q", pytest.approx(2 / 3), 1.0),
    ]
