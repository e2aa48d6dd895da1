"""Acceptance sampling against printed probabilities, the source beside each table."""

import math

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.release.sampling import (
    double_plan,
    operating_curve,
    shares_from_counts,
    three_class,
    two_class,
    units_for,
)


@pytest.mark.parametrize(
    ("p", "percent"),
    [
        (0.01, (99.0, 95.1, 90.4, 54.7)),
        (0.02, (98.0, 90.4, 81.7, None)),  # prints 30.0 for n = 60, exact is 29.76
        (0.05, (95.0, 77.4, 59.9, 4.6)),
        (0.10, (90.0, 59.1, 34.9, 0.18)),
        (0.20, (80.0, 32.8, 10.7, 0.00015)),
    ],
)
def test_fao_444_table_3_2_no_defective_unit(p, percent):
    # FAO Fisheries Technical Paper 444, table 3.2 (secondary): n 1, 5, 10, 60, c 0; printed
    # digits, so half a unit of the last one (59.1 is printed where 59.05 is exact).
    for n, printed in zip((1, 5, 10, 60), percent, strict=True):
        if printed is not None:
            tolerance = 0.0515 if printed > 1 else printed * 0.04
            assert 100 * two_class(n, 0, p) == pytest.approx(printed, abs=tolerance)


def test_nist_single_plan_n52_c3():
    # NIST/SEMATECH e-Handbook 6.2.3.2, n 52 c 3 (from memory, recomputed); printed to 3 digits.
    printed = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
    found = operating_curve(52, 3, np.arange(1, 13) / 100.0)
    assert found == pytest.approx(printed, abs=0.0012)


def test_montgomery_single_plan_n89_c2():
    # Montgomery, n 89 c 2 (from memory, recomputed).
    shares = np.array([0.005, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09])
    printed = [0.9897, 0.9397, 0.7366, 0.4985, 0.3042, 0.1721, 0.0919, 0.0468, 0.0230, 0.0109]
    assert operating_curve(89, 2, shares) == pytest.approx(printed, abs=6e-5)


def test_three_class_plans():
    # ICMSF values (from memory) and exact values recomputed independently in the reference notes.
    for pm, printed in ((0.1, 0.919), (0.2, 0.737), (0.3, 0.528), (0.5, 0.188)):
        assert three_class(5, 1, pm, 0.0) == pytest.approx(printed, abs=6e-4)
    for (pm, pd), exact in {
        (0.2, 0.0): (0.7373, 0.9421, 0.9933),
        (0.2, 0.05): (0.5537, 0.7225, 0.7675),
        (0.3, 0.1): (0.2722, 0.4666, 0.5638),
    }.items():
        for c, value in zip((1, 2, 3), exact, strict=True):
            assert three_class(5, c, pm, pd) == pytest.approx(value, abs=6e-5)


def test_three_class_without_defectives_is_two_class():
    assert three_class(5, 2, 0.3, 0.0) == pytest.approx(two_class(5, 2, 0.3), abs=1e-12)


def test_double_plan():
    # Montgomery, n1 50 c1 1, n2 100 c2 3, p 0.05: Pa 0.290 printed, 0.2904 recomputed.
    plan = {"n1": 50, "accept1": 1, "reject1": 4, "n2": 100, "accept2": 3}
    assert double_plan(0.05, **plan) == pytest.approx(0.2904, abs=6e-5)
    # Directive 76/211/EEC Annex II (read): 30/30 with Ac 1 Re 3, then 4; curve recomputed.
    small = {"n1": 30, "accept1": 1, "reject1": 3, "n2": 30, "accept2": 4}
    for p, value in ((0.01, 0.9966), (0.025, 0.9565), (0.05, 0.7636), (0.10, 0.2773)):
        assert double_plan(p, **small) == pytest.approx(value, abs=6e-5)
    large = {"n1": 80, "accept1": 3, "reject1": 7, "n2": 80, "accept2": 8}
    for p, value in ((0.025, 0.9829), (0.05, 0.6475), (0.10, 0.0444)):
        assert double_plan(p, **large) == pytest.approx(value, abs=6e-5)


def test_small_lot_is_drawn_without_replacement():
    # Exact by counting: 2 bad in 10, draw 5, none bad: C(8,5)/C(10,5).
    exact = math.comb(8, 5) / math.comb(10, 5)
    assert two_class(5, 0, 0.2, lot_size=10) == pytest.approx(exact, rel=1e-12)
    assert two_class(5, 0, 0.2, lot_size=10**7) == pytest.approx(two_class(5, 0, 0.2), rel=1e-5)


def test_counts_to_shares():
    # Half of a lot lies above its median, and 2.275 % above two sigma (normal table).
    marginal, defective = shares_from_counts(4.0, 0.5, 4.0, 5.0)
    assert marginal + defective == pytest.approx(0.5)
    assert defective == pytest.approx(0.02275, abs=1e-5)


def test_units_for_59_of_95_and_5_percent():
    # ln 0.05 / ln 0.95 = 58.4, so 59 units (the well-known 59 of non-parametric tolerance).
    assert units_for(0.95, 0.05) == 59
    assert two_class(59, 0, 0.05) <= 0.05 < two_class(58, 0, 0.05)


@pytest.mark.parametrize(
    "call",
    [
        lambda: two_class(0, 0, 0.1),
        lambda: two_class(5, 5, 0.1),
        lambda: two_class(5, 0, 1.1),
        lambda: two_class(5, 0, 0.1, lot_size=4),
        lambda: three_class(5, 1, 0.7, 0.7),
        lambda: shares_from_counts(4, 0, 4, 5),
        lambda: shares_from_counts(4, 1, 5, 5),
        lambda: units_for(1.0, 0.1),
    ],
)
def test_impossible_plans_are_refused(call):
    with pytest.raises(BadInput):
        call()
