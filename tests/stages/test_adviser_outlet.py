"""The spread of outlet moisture from lots: moments, strays, parts and the normal curve."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation, norm

from wareleaf.measure import BadInput
from wareleaf.stages.adviser_outlet import ROBUST, curve, seen, split, strays


def test_mean_and_standard_deviation_by_hand():
    """8, 9, 10, 11, 12 %: mean 10, squares 4 1 0 1 4, sd sqrt(10/4) points."""
    found = seen([0.08, 0.09, 0.10, 0.11, 0.12])
    assert (found.lots, found.mean_wb) == (5, pytest.approx(0.10))
    assert found.sd_wb == pytest.approx(0.01 * 2.5**0.5)


def test_a_lot_that_was_wet_strays_and_ordinary_lots_do_not():
    usual = np.random.default_rng(2).normal(0.095, 0.006, 25).tolist()
    assert strays(usual) == ()
    assert strays([*usual, 0.16]) == (0.16,)
    assert strays([0.1] * 9 + [0.2]) == ()  # no spread to judge by
    assert strays([]) == ()


def test_the_robust_spread_is_scaled_to_the_normal():
    """scipy.stats.median_abs_deviation(scale="normal") is the reference."""
    assert 1.0 / norm.ppf(0.75) == pytest.approx(ROBUST, abs=1e-4)
    lots = np.random.default_rng(4).normal(0.1, 0.01, 51)
    sd = median_abs_deviation(lots, scale="normal")
    edge = float(np.median(lots) + 4.5 * sd)
    assert strays([*lots.tolist(), edge + 0.02])[-1] == pytest.approx(edge + 0.02)


@settings(deadline=None, max_examples=40)
@given(shares=st.lists(st.floats(0.01, 1.0), min_size=1, max_size=6), sd=st.floats(1e-4, 0.1))
def test_the_parts_give_the_whole_back(shares, sd):
    total = sum(shares)
    parts = split(sd, {str(n): s / total for n, s in enumerate(shares)})
    assert sum(p**2 for p in parts.values()) == pytest.approx(sd**2)


def test_the_curve_is_the_normal_density_and_holds_all_lots():
    points = curve(0.08, 0.01)
    x, y = np.array(points).T
    assert y == pytest.approx(norm.pdf(x, 0.08, 0.01) * 0.01)
    assert np.trapezoid(y, x) / 0.01 == pytest.approx(1.0, abs=2e-4)  # 4 sd to either side
    assert np.array(curve(0.01, 0.01))[:, 0].min() == 0.0


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: seen([0.1, 0.2]), "outlet_wb"),
        (lambda: seen([0.1, 0.2, 0.7]), "outlet_wb"),
        (lambda: seen([0.1, 0.1, 0.1]), "outlet_wb"),
        (lambda: seen([0.1, 0.2, float("nan")]), "outlet_wb"),
        (lambda: split(0.01, {"feed": 0.5}), "shares"),
        (lambda: split(0.01, {"feed": 1.5}), "feed"),
        (lambda: curve(0.1, 0.0), "sd_wb"),
    ],
)
def test_bad_input_is_refused(make, field):
    with pytest.raises(BadInput) as refused:
        make()
    assert refused.value.problems[0].field == field
