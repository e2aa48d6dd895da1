"""Individuals chart against the NIST handbook."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.release.charts import individuals


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
