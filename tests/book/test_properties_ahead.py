"""Lots still to be made: the same as if they stood in the network, and the bath's own factor."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book.properties import Finding, Source, Step, condition, network
from wareleaf.book.properties_ahead import ahead
from wareleaf.measure import BadInput

LEAF = {"leaf": 500.0}
SOURCES = [Source(f"in{i}", 4000.0, 600.0, LEAF) for i in range(4)]


def bath(at: int, factor: float = 0.12, size: float = 0.05) -> Step:
    name = f"in{at}"
    return Step(
        f"e{at}", {name: 1.0}, {f"out{at}": 1.0}, factor, 0.02, shared_factor={"bath": size}
    )


def book(findings, steps=3):
    return condition(network(SOURCES, [bath(i) for i in range(steps)]), findings)


results = st.lists(
    st.tuples(st.sampled_from(["out0", "out1", "out2"]), st.floats(100.0, 1500.0)), max_size=6
)


@settings(max_examples=40, deadline=None)
@given(results)
def test_a_lot_ahead_is_what_it_would_be_in_the_book(found):
    """Adding the step to the network and conditioning anew gives the same, to rounding.

    Errors of a factor are taken at the leaf's mean; the leaf of the step ahead shares an error with
    all others, so the mean is held by giving it once.
    """
    findings = [Finding(lot, value, 40.0) for lot, value in found]
    belief = book(findings)
    told = ahead(belief, [], [bath(3)])["out3"]
    at = (belief.of("in3").mean, belief.of("in3").sd)
    about = {f"in{i}": (4000.0, math.hypot(600.0, 500.0)) for i in range(3)} | {"in3": at}
    whole = condition(network(SOURCES, [bath(i) for i in range(4)], about), findings)
    assert told.mean == pytest.approx(whole.of("out3").mean, rel=1e-9)
    assert told.sd == pytest.approx(whole.of("out3").sd, rel=1e-9)


def test_without_results_it_is_the_usual_leaf_times_the_factor():
    told = ahead(book([]), [], [bath(3)])["out3"]
    assert told.mean == pytest.approx(480.0)
    parts = (0.12 * math.hypot(600.0, 500.0), 0.05 * 4000.0)
    own = 0.02 * math.hypot(4000.0, math.hypot(600.0, 500.0))
    assert told.sd == pytest.approx(math.hypot(*parts, own))


def test_a_bath_that_keeps_more_does_so_in_the_next_run():
    findings = [Finding(f"in{i}", 4000.0, 10.0) for i in range(3)]
    findings += [Finding(f"out{i}", 720.0, 10.0) for i in range(3)]
    one = Source("one", 1.0, 0.0)
    factor = Step("bath", {"one": 1.0}, {"ratio": 1.0}, shared_factor={"bath": 0.05 / 0.12})
    found = ahead(book(findings), [one], [bath(3), factor])
    assert found["ratio"].mean == pytest.approx(1.5, abs=0.08)
    assert found["ratio"].sd < 0.15
    assert found["out3"].mean == pytest.approx(720.0, rel=0.06)


def test_another_bath_has_learned_nothing():
    findings = [Finding(f"in{i}", 4000.0, 10.0) for i in range(3)]
    findings += [Finding(f"out{i}", 720.0, 10.0) for i in range(3)]
    one = Source("one", 1.0, 0.0)
    factor = Step("bath", {"one": 1.0}, {"ratio": 1.0}, shared_factor={"bath two": 0.4})
    found = ahead(book(findings), [one], [factor])["ratio"]
    assert (found.mean, found.sd) == (pytest.approx(1.0), pytest.approx(0.4))


def test_leaf_that_is_not_in_the_book_shares_what_its_leaf_was_found_to_hold():
    findings = [Finding(f"in{i}", 5000.0, 10.0) for i in range(3)]
    load = Source("load", 4000.0, 600.0, LEAF)
    assert ahead(book(findings), [load], [])["load"].mean > 4400.0


def test_what_is_there_or_missing_is_refused():
    with pytest.raises(BadInput, match="not in this network"):
        ahead(book([]), [], [Step("x", {"nowhere": 1.0}, {"y": 1.0})])
