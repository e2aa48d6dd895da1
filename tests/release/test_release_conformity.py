"""Conformity decisions against the printed examples of JCGM 106:2012 (official text, read)."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from wareleaf.measure import BadInput
from wareleaf.release.conformity import (
    Decision,
    decide,
    global_risks,
    probability_conforming,
)


@pytest.mark.parametrize(
    ("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_table_of_conformance_probability_against_z(probability, z):
    # JCGM 106, table of p_c against z for a one-sided limit; z has two printed decimals, and one
    # unit of its last digit moves p_c by at most 0.003 here.
    assert probability_conforming(0.0, 1.0, None, z) == pytest.approx(probability, abs=0.0031)


def test_zener_diode_and_vessel():
    # JCGM 106: breakdown voltage z 1.40, p_c 0.92; vessel z 2.3, p_c 0.99 (two printed decimals).
    assert probability_conforming(-5.47, 0.05, None, -5.40) == pytest.approx(0.92, abs=0.005)
    assert probability_conforming(2.3, 1.0, 0.0, None) == pytest.approx(0.99, abs=0.005)


def test_motor_oil_between_two_limits():
    # JCGM 106, oil example: p_c 0.66 printed (read); the inputs 13.6, 1.8, 12.5, 16.3 mm2/s are
    # recalled from memory and reproduce it.
    assert probability_conforming(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


def test_resistors_global_risks():
    # JCGM 106 resistors: p_c 0.90, R_C 1 %, R_P 7 % printed; recomputed .9044, .00988, .0690.
    risks = global_risks(stats.norm(1500.0, 0.12), 0.04, (1499.8, 1500.2), (1499.82, 1500.18))
    assert risks.conforming == pytest.approx(0.9044, abs=5e-5)
    assert risks.consumer == pytest.approx(0.00988, abs=5e-6)
    assert risks.producer == pytest.approx(0.0690, abs=5e-5)


def test_bearings_global_risks_with_a_gamma_prior():
    # JCGM 106 bearings: gamma(4, 4), T 2, u 0.25, A about 1.7 (r = 0.65 of U = 2u): R_C 0.1 %,
    # R_P 7.5 % printed; recomputed .04238, .00103, .07465 with A = 2 - 0.65 * 0.5 = 1.675.
    prior = stats.gamma(4.0, scale=0.25)
    risks = global_risks(prior, 0.25, (-math.inf, 2.0), (-math.inf, 1.675))
    assert 1.0 - risks.conforming == pytest.approx(0.04238, abs=5e-6)
    assert risks.consumer == pytest.approx(0.00103, abs=1e-5)
    assert risks.producer == pytest.approx(0.07465, abs=1e-4)


def test_guard_band_of_expanded_uncertainty_keeps_false_acceptance_under_2_3_percent():
    # JCGM 106: w = U (k = 2), one-sided: at most 2.3 % false acceptance (printed).
    found = decide(1.0 - 2 * 0.1, 0.1, upper=1.0, rule="guarded", guard_factor=2.0)
    assert found.decision is Decision.CONFORMS
    assert 1.0 - found.probability_conforming == pytest.approx(0.0228, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "rule", "decision"),
    [
        (2.7, "guarded", "conforms"),
        (2.9, "guarded", "undecided"),
        (3.1, "guarded", "undecided"),
        (3.3, "guarded", "does_not_conform"),
        (2.9, "simple", "conforms"),
        (3.1, "simple", "does_not_conform"),
        (3.1, "guarded_rejection", "conforms"),
        (3.3, "guarded_rejection", "does_not_conform"),
    ],
)
def test_three_rules_around_one_limit(value, rule, decision):
    # Definitions of the acceptance intervals, JCGM 106 section 8: limit 3, u 0.1, w = 2u.
    assert decide(value, 0.1, upper=3.0, rule=rule).decision == decision


@pytest.mark.parametrize(
    ("value", "decision"),
    [(3.3, "conforms"), (3.1, "undecided"), (2.9, "undecided"), (2.7, "does_not_conform")],
)
def test_a_least_value_is_the_mirror_of_a_greatest(value, decision):
    assert decide(value, 0.1, lower=3.0).decision == decision


def test_acceptance_intervals():
    assert decide(5, 0.1, lower=4, upper=8).acceptance_interval == pytest.approx((4.2, 7.8))
    out = decide(5, 0.1, lower=4, upper=8, rule="guarded_rejection").acceptance_interval
    assert out == pytest.approx((3.8, 8.2))
    assert decide(5, 0.1, lower=4, rule="simple").acceptance_interval == (4, None)


def test_guard_bands_that_meet_accept_nothing():
    found = decide(5.0, 1.0, lower=4.0, upper=6.0)
    assert found.empty
    assert found.acceptance_interval == (None, None)
    assert found.decision is Decision.UNDECIDED


def test_an_exact_value_on_the_limit_conforms_under_every_rule():
    for rule in ("simple", "guarded", "guarded_rejection"):
        found = decide(3.0, 0.0, upper=3.0, rule=rule)
        assert found.decision is Decision.CONFORMS
        assert found.probability_conforming == 1.0


@settings(deadline=None, max_examples=200)
@given(
    value=st.floats(-100, 100),
    u=st.floats(1e-6, 50),
    lower=st.floats(-100, 0),
    width=st.floats(0.1, 100),
    factor=st.floats(0, 4),
)
def test_guarded_never_accepts_what_simple_refuses(value, u, lower, width, factor):
    kw = {"lower": lower, "upper": lower + width, "guard_factor": factor}
    guarded = decide(value, u, rule="guarded", **kw)
    simple = decide(value, u, rule="simple", **kw)
    loose = decide(value, u, rule="guarded_rejection", **kw)
    assert 0.0 <= guarded.probability_conforming <= 1.0
    if guarded.decision is Decision.CONFORMS:
        assert simple.decision is Decision.CONFORMS
    if simple.decision is Decision.CONFORMS:
        assert loose.decision is Decision.CONFORMS
    if guarded.decision is Decision.DOES_NOT_CONFORM:
        assert simple.decision is Decision.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("kw", "field"),
    [
        ({"value": 1, "standard_uncertainty": 0.1}, "lower"),
        ({"value": 1, "standard_uncertainty": -0.1, "upper": 2}, "standard_uncertainty"),
        ({"value": math.nan, "standard_uncertainty": 0.1, "upper": 2}, "value"),
        ({"value": 1, "standard_uncertainty": 0.1, "lower": 3, "upper": 2}, "lower"),
        ({"value": 1, "standard_uncertainty": 0.1, "upper": 2, "rule": "lenient"}, "rule"),
        ({"value": 1, "standard_uncertainty": 0.1, "upper": 2, "guard_factor": -1}, "guard_factor"),
    ],
)
def test_bad_input_is_named(kw, field):
    with pytest.raises(BadInput) as refused:
        decide(**kw)
    assert refused.value.problems[0].field == field
