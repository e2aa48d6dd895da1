"""Control charts against the NIST handbook and other printed series."""

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.measure.charts import cusum_limit, ewma, individuals, tabular_cusum


def test_nist_flow_rate():
    # NIST/SEMATECH e-Handbook 6.3.2.2, flow rate (secondary; recomputed); four printed decimals.
    rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = individuals(rates)
    assert chart.mean == pytest.approx(50.81, abs=5e-5)
    assert chart.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert chart.upper_moving_range == pytest.approx(6.1349, abs=2e-4)
    assert chart.outside == chart.outside_moving_range == ()


def test_a_jump_is_outside():
    chart = individuals([5.0, 5.1, 4.9, 5.0, 5.1, 4.9, 5.0, 5.1, 4.9, 8.0, 5.0])
    assert chart.outside == (9,)
    assert 9 in chart.outside_moving_range


def test_one_point_is_no_chart():
    with pytest.raises(BadInput):
        individuals([1.0])


# Series printed in the NIST handbook (public) and by Montgomery (through a library manual).
NIST_CUSUM = [
    *(324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6),
    *(324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35),
]
NIST_EWMA = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]
MONTGOMERY = [
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.2, 10.34, 9.03, 11.47, 10.51, 9.4),
    *(10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.9, 9.33, 12.29, 11.5, 10.6, 11.08, 10.38),
    *(11.62, 11.31, 10.52),
]


def test_nist_cusum():
    # NIST/SEMATECH e-Handbook 6.3.2.3 (from memory, recomputed): mu 325, k .3175, h 4.1959;
    # printed to two decimals and rounded at every step, so 0.03.
    chart = tabular_cusum(NIST_CUSUM, target=325.0, k=0.3175, h=4.1959)
    printed = [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
    assert chart.high[12:] == pytest.approx(printed, abs=0.03)
    assert max(chart.low) == pytest.approx(0.72, abs=0.01)
    assert chart.signals[0] == 13


def test_montgomery_cusum():
    # Montgomery, 30 observations, K .5 H 5: C+ 5.28 at 29 (signal) and 5.30 at 30.
    chart = tabular_cusum(MONTGOMERY, target=10.0, k=0.5, h=5.0)
    assert chart.high[28:] == pytest.approx([5.28, 5.30], abs=0.005)
    assert chart.signals[0] == 28


def test_fast_initial_response():
    # Lucas and Crosier (1982) through a book page: h 5, k .5, with and without head start 2.5.
    data = [0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6]
    plain = tabular_cusum(data, target=0.0, k=0.5, h=5.0)
    fast = tabular_cusum(data, target=0.0, k=0.5, h=5.0, head_start=2.5)
    assert plain.high == pytest.approx([0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0])
    assert fast.high == pytest.approx([2.8, 4.2, 5.1, 6.6, 7.2, 7.4, 9.5])
    assert (plain.signals[0], fast.signals[0]) == (6, 2)


def test_nist_ewma():
    # NIST/SEMATECH e-Handbook 6.3.2.4 (memory, recomputed; formula read second-hand).
    chart = ewma(NIST_EWMA, target=50.0, sd=2.0539, weight=0.3)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1e-4)
    printed = [
        *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    ]
    assert chart.values == pytest.approx(printed, abs=0.0055)
    assert chart.signals == ()


def test_montgomery_ewma():
    # Montgomery, lambda .1, L 2.7: 9.945 9.7495 9.70355 ...; steady limits 10.6194 and 9.3806;
    # recomputed: z28 inside, the first beyond is z29.
    chart = ewma(MONTGOMERY, target=10.0, sd=1.0, weight=0.1, width=2.7)
    assert chart.values[:3] == pytest.approx([9.945, 9.7495, 9.70355], abs=1e-5)
    assert chart.values[-3:] == pytest.approx([10.57314, 10.64682, 10.63414], abs=1e-5)
    assert (chart.upper[-1], chart.lower[-1]) == pytest.approx((10.6194, 9.3806), abs=1e-4)
    assert chart.signals[0] == 28
    exact = ewma(MONTGOMERY, target=10.0, sd=1.0, weight=0.1, width=2.7, steady=False)
    assert exact.upper[0] == pytest.approx(10.27)  # width * sd * weight


def test_cusum_limit_holds_its_word():
    # Fresh noise, not that of the simulation: 30 values, 2 % asked for; 2,000 series give a
    # standard error of 0.3 %.
    limit = cusum_limit(30, 0.5, 0.02)
    noise = np.random.default_rng(7).standard_normal((2000, 30))
    alarms = sum(bool(tabular_cusum(x, target=0, k=0.5, h=limit).signals) for x in noise)
    assert alarms / 2000 == pytest.approx(0.02, abs=0.01)


def test_ewma_weight_is_checked():
    with pytest.raises(BadInput):
        ewma([1.0], target=0, sd=1, weight=0.0)
