"""What the stages share: ranges, readings in order, closure."""

import math

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import common


def test_a_reading_needs_an_uncertainty_and_a_time_that_is_not_negative():
    with pytest.raises(BadInput, match="above 0"):
        common.StageReading(1.0, "moisture_wb", 0.7, 0.0)
    with pytest.raises(BadInput, match="at least 0 h"):
        common.StageReading(-1.0, "moisture_wb", 0.7, 0.01)
    with pytest.raises(BadInput, match="finite"):
        common.StageReading(1.0, "moisture_wb", math.nan, 0.01)


def test_readings_out_of_order_or_of_the_wrong_kind_are_refused_by_number():
    first = common.StageReading(2.0, "moisture_wb", 0.7, 0.01)
    second = common.StageReading(1.0, "moisture_wb", 0.7, 0.01)
    with pytest.raises(BadInput, match="Reading 2 is at 1 h"):
        common.check_readings([first, second], ["moisture_wb"])
    with pytest.raises(BadInput, match="this stage reads mass_kg"):
        common.check_readings([first], ["mass_kg"])
    assert common.check_readings([second, first], ["moisture_wb"]) == (second, first)


@pytest.mark.parametrize(
    ("value", "kwargs", "words"),
    [
        (-1.0, {"low": 0.0, "unit": "kg"}, "at least 0 kg"),
        (0.0, {"low": 0.0, "above": True}, "above 0"),
        (2.0, {"low": 0.0, "high": 1.0}, "from 0 to 1"),
        (2.0, {"high": 1.0}, "at most 1"),
        (math.inf, {}, "finite"),
    ],
)
def test_a_refused_number_names_the_range(value, kwargs, words):
    with pytest.raises(BadInput, match=words) as caught:
        common.finite("mass_kg", value, **kwargs)
    assert caught.value.problems[0].field == "mass_kg"
    assert caught.value.problems[0].value == value


def test_closure_is_relative_to_the_largest_side():
    assert common.relative_closure(10.0, 9.0, 0.0) == pytest.approx(0.1)
    assert common.relative_closure(1e-9, 0.0, 1.0) == pytest.approx(1e-9)
    assert common.relative_closure(0.0, 0.0, 0.0) == 0.0


def test_log_sd_gives_back_the_relative_sd():
    # A log-normal of log sd s has relative sd sqrt(exp(s^2) - 1) (definition).
    s = common.log_sd(0.3)
    assert math.sqrt(math.expm1(s * s)) == pytest.approx(0.3)


def test_weighted_spread():
    mean, sd = common.spread_wb(np.array([0.6, 0.8]), np.array([0.5, 0.5]))
    assert mean == pytest.approx(0.7)
    assert sd == pytest.approx(0.1)
