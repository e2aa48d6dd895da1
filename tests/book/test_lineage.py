"""The genealogy as arrays against the plain form, on any graph of lots."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf import book
from wareleaf.measure import BadInput


def edges_of(parents, numbers):
    """Edges of lots by number: each made of some lots before it, in any proportion."""
    edges = []
    for child, draws in parents.items():
        total = sum(draws.values())
        dry = 10.0 * numbers[child % len(numbers)]
        edges += [
            book.Edge(f"K{p}", f"K{child}", f"E{child}", d / total, dry * d / total, d, 1.0)
            for p, d in sorted(draws.items(), key=lambda x: f"K{x[0]}")
        ]
    return sorted(edges, key=lambda e: (e.child, e.parent))


@st.composite
def graphs(draw, most=24):
    """Child to parents with what was drawn; the ids do not sort in the order of making."""
    parents = {}
    for child in range(1, draw(st.integers(2, most))):
        some = draw(st.sets(st.integers(0, child - 1), max_size=4))
        if some:
            parents[child] = {p: draw(st.integers(1, 50)) for p in sorted(some)}
    return parents


NUMBERS = st.lists(st.integers(0, 99), min_size=1, max_size=6)


def same(ours, plain):
    """Lots in the same order; edges in the same order of near lots; numbers to rounding."""
    assert [(n.lot_id, n.level, n.end) for n in ours.nodes] == [
        (n.lot_id, n.level, n.end) for n in plain.nodes
    ]
    for column in ("share", "dry_g"):
        wanted = [getattr(n, column) for n in plain.nodes]
        assert [getattr(n, column) for n in ours.nodes] == pytest.approx(wanted, rel=1e-12)
    assert ours.levels == plain.levels
    near = "child" if plain.direction == "back" else "parent"
    assert [getattr(e, near) for e in ours.edges] == [getattr(e, near) for e in plain.edges]
    a, b = sorted(ours.edges), sorted(plain.edges)
    assert [e[:3] for e in a] == [e[:3] for e in b]
    assert [e.dry_g for e in a] == pytest.approx([e.dry_g for e in b], rel=1e-12)
    assert (ours.lot_id, ours.direction) == (plain.lot_id, plain.direction)


@pytest.mark.slow
@settings(deadline=None, max_examples=150)
@given(graphs(), NUMBERS, st.sampled_from([None, 0, 700]))
def test_traces_equal_the_plain_form(parents, numbers, dry_g):
    edges = edges_of(parents, numbers)
    lineage = book.Lineage.of_edges(edges)
    for lot in {f"K{n}" for n in range(25)}:
        same(lineage.trace_back(lot, dry_g), book.trace_back(edges, lot, dry_g))
        same(lineage.trace_forward(lot, dry_g), book.trace_forward(edges, lot, dry_g))
        assert sorted(lineage.reached([lot], back=True)) == sorted(
            n.lot_id for n in book.trace_back(edges, lot).nodes
        )


@settings(deadline=None, max_examples=80)
@given(graphs(), graphs(), NUMBERS, st.integers(0, 24))
def test_what_is_said_again_replaces_what_was_said(before, after, numbers, cut):
    """Corrections: from some lot on, history is another one; some lots are gone with it."""
    changed = {c: p for c, p in after.items() if c >= cut}
    kept = {c: p for c, p in before.items() if c < cut}
    new = edges_of(changed, numbers)
    gone = [f"K{c}" for c in before if c >= cut]
    part = book.LineagePart.of_edges(new, gone=gone)
    old = book.Lineage.of_edges(edges_of(before, numbers))
    expected = sorted((*edges_of(kept, numbers), *new))
    at_once = book.Lineage([book.LineagePart.of_edges(edges_of(before, numbers)), part])
    for lineage in (old.replaced(part), at_once):
        assert sorted(e[:5] for e in lineage.edges()) == sorted(e[:5] for e in expected)
        assert len(lineage) == len(expected)
        for lot in ("K0", "K3", "K23"):
            same(lineage.trace_back(lot), book.trace_back(sorted(
                expected, key=lambda e: (e.child, e.parent)), lot))  # fmt: skip


@settings(deadline=None, max_examples=80)
@given(graphs(), NUMBERS, st.sets(st.integers(0, 24), min_size=1, max_size=6), st.data())
def test_shares_equal_one_trace_after_the_other(parents, numbers, some, data):
    edges = edges_of(parents, numbers)
    lineage = book.Lineage.of_edges(edges)
    sources = [f"K{n}" for n in sorted(some)]
    each = {s: {n.lot_id: n.share for n in book.trace_forward(edges, s).nodes} for s in sources}
    given_lots = [f"K{n}" for n in data.draw(st.sets(st.integers(0, 24)))]
    for lots in (None, given_lots, [*given_lots, *(f"K{n}" for n in range(25))]):
        found = book.shares(lineage, sources, lots)
        assert found.sources == tuple(sources)
        assert found.part.shape == (len(found.lots), len(sources))
        wanted = [[each[s].get(lot, 0.0) for s in sources] for lot in found.lots]
        assert np.allclose(found.part, np.array(wanted).reshape(found.part.shape), atol=1e-12)
    ends = {n.lot_id for s in sources for n in book.trace_forward(edges, s).ends}
    assert set(book.shares(lineage, sources).lots) == ends


@settings(deadline=None, max_examples=80)
@given(graphs(), NUMBERS, st.sets(st.integers(0, 24), min_size=1, max_size=6))
def test_a_fault_in_several_lots_counts_once(parents, numbers, some):
    """As if everything struck had come out of one sack: cut the edges into it and add up."""
    edges = edges_of(parents, numbers)
    struck = {f"K{n}" for n in some}
    open_above = [e for e in edges if e.child not in struck]
    together = book.share_together(book.Lineage.of_edges(edges), sorted(struck))
    for lot in {f"K{n}" for n in range(25)}:
        share = sum(
            n.share for n in book.trace_back(open_above, lot, 1).nodes if n.lot_id in struck
        )
        assert together.get(lot, 0.0) == pytest.approx(share, abs=1e-12)
        assert together.get(lot, 0.0) <= 1.0 + 1e-12


def test_mass_is_conserved_over_all_sources():
    """The shares of all sources in any lot add up to one."""
    chance = np.random.default_rng(3)
    edges = []
    for child in range(200, 2000):
        draws = {int(p): int(chance.integers(1, 99)) for p in chance.integers(0, child, 3)}
        total = sum(draws.values())
        edges += [
            book.Edge(f"K{p}", f"K{child}", "e", d / total, d, d, 1.0) for p, d in draws.items()
        ]
    lineage = book.Lineage.of_edges(edges)
    sources = [f"K{n}" for n in range(200)]
    found = book.shares(lineage, sources)
    assert len(found.lots) > 200
    assert np.allclose(found.part.sum(axis=1), 1.0, atol=1e-12)
    few = book.shares(lineage, sources, found.lots[:7])  # fewer lots than sources: runs back
    assert np.allclose(few.part, found.part[:7], atol=1e-14)
    together = book.share_together(lineage, sources)
    assert len(together) == 2000
    assert list(together.values()) == pytest.approx([1.0] * 2000, abs=1e-12)


def test_a_bin_topped_up_three_thousand_times():
    """One long chain: half of the bin is new at each top-up, so the first lot halves each time."""
    edges = []
    for n in range(3000):
        edges += [
            book.Edge(f"B{n}", f"B{n + 1}", f"E{n}", 0.5, 50.0, 50, 1.0),
            book.Edge(f"F{n}", f"B{n + 1}", f"E{n}", 0.5, 50.0, 50, 1.0),
        ]
    lineage = book.Lineage.of_edges(edges)
    back = lineage.trace_back("B3000", 100.0)
    assert back.node("F2990").share == pytest.approx(0.5**10, rel=1e-12)
    assert back.node("B0").level == 3000
    assert math.fsum(n.share for n in back.ends) == pytest.approx(1.0, rel=1e-12)
    found = book.shares(lineage, ["F2999", "F2990"], ["B3000"])
    assert found.part.tolist() == [[0.5, 0.5**10]]


def test_a_ring_is_refused():
    ring = [
        book.Edge("A", "B", "e", 1.0, 1.0, 1, 1.0),
        book.Edge("B", "A", "e", 1.0, 1.0, 1, 1.0),
    ]
    lineage = book.Lineage.of_edges(ring)
    for ask in (lineage.trace_back, lineage.trace_forward):
        with pytest.raises(BadInput, match="among its own ancestors"):
            ask("A")


def test_no_lots_no_edges():
    lineage = book.Lineage()
    assert len(lineage) == 0
    assert lineage.reached(["K1"], back=True) == ["K1"]
    assert book.share_together(lineage, ["K1"]) == {"K1": 1.0}
    found = book.shares(lineage, ["K1"])
    assert (found.lots, found.part.tolist()) == (("K1",), [[1.0]])
