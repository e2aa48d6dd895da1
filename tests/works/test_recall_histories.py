"""Over random histories with corrections, every gram of a fault is in one place, once."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from tests.book.book_makers import NOW
from tests.book.test_book_conservation import STEPS, history

import wareleaf.works.demo
from wareleaf.works.recall import answer
from wareleaf.works.recall_fault import Fault
from wareleaf.works.recall_flow import follow
from wareleaf.works.settings import read_settings
from wareleaf.works.sight import KnownThen, Sight

DEMO = read_settings(Path(wareleaf.works.demo.__file__).parent / "works.toml")


def places(state, roots):
    """Where the fault's dry matter is, in exact fractions, counted along the book event by event.

    Another way than `follow`: no graph, no order of its own; each event in the order folded.
    """
    share = {k: Fraction(0) for k in state.lots}
    found = {k: Fraction(0) for k in ("entered", "in stock", "shipped", "streams", "unexplained")}
    for event in state.events:
        by_dry = any(d.dry_g for d in event.inputs)
        amount = {i: d.dry_g if by_dry else d.mass_g for i, d in enumerate(event.inputs)}
        whole = sum(amount.values())
        bad = sum((share[d.lot_id] * amount[i] for i, d in enumerate(event.inputs)), Fraction(0))
        mix = bad / whole if whole else Fraction(0)
        made = Fraction(0)
        for m in event.outputs:
            share[m.lot_id] = mix
            made += mix * m.dry_g
            if m.lot_id in roots:
                found["entered"] += (1 - mix) * m.dry_g
                share[m.lot_id] = Fraction(1)
        drawn = bad if by_dry else Fraction(0)
        lost = sum((mix * s.dry_g for s in event.streams), Fraction(0)) if event.inputs else 0
        found["streams"] += lost
        rest = drawn - made - lost
        if event.kind == "receive_back":  # the customer had it, not the works
            found["shipped"] -= drawn
        left = event.kind in ("ship", "waste", "destroy")
        found["shipped" if left else "unexplained"] += rest
    for lot in state.lots.values():
        found["in stock"] += share[lot.lot_id] * lot.remaining_dry_g
        found["unexplained"] += share[lot.lot_id] * lot.residual_dry_g
    return found, {k: v for k, v in share.items() if v}


@pytest.mark.slow
@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(STEPS, st.lists(st.integers(0, 2**20), min_size=1, max_size=4))
def test_a_fault_of_several_lots_closes_and_agrees_with_counting_along_the_book(steps, seeds):
    _, state = history(steps)
    ids = sorted(state.lots)
    assume(ids)  # every load may have been voided
    roots = list(dict.fromkeys(ids[s % len(ids)] for s in seeds))
    reached = set(roots)
    for event in state.events:  # in the order folded, a lot is made before it is drawn from
        if any(d.lot_id in reached for d in event.inputs):
            reached |= {m.lot_id for m in event.outputs}
    events = [e for e in state.events if any(d.lot_id in reached for d in e.inputs)]
    flow = follow(roots, state.lots, events)
    last = flow.last
    assert last.accounted_g + last.unexplained_g == last.total_g
    assert flow.first.accounted_g + flow.first.unexplained_g == flow.first.total_g == last.total_g
    assert abs(flow.closure_g) < 1e-3
    assert last.used_on_g == 0

    exact, share = places(state, roots)
    assert exact["entered"] == sum(v for k, v in exact.items() if k != "entered")
    assert set(flow.share) == reached >= set(share)
    assert all(abs(flow.share[k] - share.get(k, 0)) < 1e-9 for k in flow.share)
    assert abs(last.total_g - exact["entered"]) <= 0.5
    assert abs(last.in_stock_g + last.on_machines_g - exact["in stock"]) <= 2
    assert abs(last.unexplained_g - exact["unexplained"]) <= 1
    lost = last.samples_g + last.waste_g + sum(last.losses_g.values())
    rest = exact["streams"] + exact["shipped"]
    assert abs(last.shipped_g + lost - rest) <= 8  # eight names of losses, rounded one by one


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(STEPS, st.integers(0, 2**20))
def test_the_whole_answer_closes_for_any_lot(steps, seed):
    _, state = history(steps)
    ids = sorted(state.lots)
    assume(ids)  # every load may have been voided
    lot_id = ids[seed % len(ids)]
    found = answer(Sight(DEMO, KnownThen(state), NOW), Fault("lot", lot_id))
    assert found.last.accounted_g + found.last.unexplained_g == state.lots[lot_id].dry_g
    with_them = sum(r.dry_from_fault_kg - r.returned_dry_kg for r in found.received)
    assert with_them * 1000.0 == pytest.approx(found.last.shipped_g, abs=1.0)
    left = sum(a.left_dry_g for a in found.lots)
    assert left == pytest.approx(found.last.in_stock_g + found.last.on_machines_g, abs=2.0)
    gaps = sum(m.dry_kg for m in found.missing) * 1000.0
    assert gaps == pytest.approx(found.last.unexplained_g, abs=1.0)
