"""Meter drift and weigh errors: found when there, silent when not."""

import math

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.measure.drift import find_drift
from wareleaf.measure.weighing import weigh_outliers

DAYS = np.arange(0.0, 30.0)
SD = [0.005] * 30


def series(seed: int, per_week: float = 0.0, onset: float = 12.0, offset: float = 0.003):
    noise = np.random.default_rng(seed).normal(0.0, 0.005, DAYS.size)
    return offset + noise + per_week / 7.0 * np.maximum(0.0, DAYS - onset)


def test_clean_series_raise_no_alarm():
    # 200 seeded clean series, at most 1 % alarms allowed; a constant meter error is no drift.
    alarms = sum(find_drift(DAYS, series(seed), SD).drifting for seed in range(200))
    assert alarms <= 2


@pytest.mark.slow
def test_the_asked_chance_of_a_false_alarm_is_kept():
    # 5 % asked for over 600 series: standard error 0.9 %, so within 2 to 8 %.
    alarms = sum(
        find_drift(DAYS, series(1000 + seed), SD, false_alarm=0.05).drifting for seed in range(600)
    )
    assert alarms / 600 == pytest.approx(0.05, abs=0.03)


@pytest.mark.slow
def test_a_drift_of_one_and_a_half_percent_a_week_is_found_and_measured():
    found = [find_drift(DAYS, series(seed, per_week=0.015), SD) for seed in range(60)]
    assert all(f.drifting for f in found)
    z = np.array([(f.per_week - 0.015) / f.per_week_sd for f in found])
    assert abs(z.mean()) < 0.4  # 60 series: standard error 0.13 around 0
    assert 0.7 < z.std() < 1.4  # the stated uncertainty is honest
    covered = np.mean([f.onset_low_day <= 12.0 <= f.onset_high_day for f in found])
    assert covered > 0.85  # 95 % interval; 60 series give a standard error of 3 %
    truth = 0.003 + 0.015 / 7.0 * 17.0
    assert np.mean([f.error_now for f in found]) == pytest.approx(truth, abs=0.002)
    noticed = [f.noticed_day for f in found if f.noticed_day is not None]
    assert len(noticed) > 55
    assert min(noticed) >= 10.0


def test_the_answer_does_not_hang_on_the_order_or_on_a_scale():
    d = series(3, per_week=-0.02)
    plain = find_drift(DAYS, d, SD)
    shuffled = np.random.default_rng(1).permutation(30)
    other = find_drift(DAYS[shuffled], d[shuffled], SD)
    assert other.per_week == pytest.approx(plain.per_week)
    percent = find_drift(DAYS, d * 100.0, [0.5] * 30)
    assert percent.per_week == pytest.approx(100.0 * plain.per_week)
    assert percent.p_value == plain.p_value
    assert plain.per_week < 0.0


def test_one_bad_reading_is_set_aside_and_is_no_drift():
    d = series(5)
    d[27] += 0.2
    found = find_drift(DAYS, d, SD)
    assert not found.drifting
    assert found.set_aside == (27,)


def test_less_certain_readings_weigh_less():
    d, sd = series(8), np.array(SD)
    sd[20:] = 0.05
    d[20:] += np.random.default_rng(2).normal(0.0, 0.05, 10)
    assert not find_drift(DAYS, d, sd).drifting


def test_straight_line_from_the_first_reading():
    # A known onset at the first reading: the rate must agree with a plain straight-line fit.
    d = series(11, per_week=0.03, onset=0.0)
    found = find_drift(DAYS, d, SD)
    slope = np.polyfit(DAYS, d, 1)[0] * 7.0
    assert found.drifting
    assert found.per_week == pytest.approx(slope, abs=2.0 * found.per_week_sd)
    assert found.onset_low_day < 3.0


@pytest.mark.parametrize(
    ("t", "d", "u"),
    [
        (DAYS, series(0)[:-1], SD),
        (DAYS[:7], series(0)[:7], SD[:7]),
        (DAYS, series(0), [0.0] * 30),
        (DAYS, [math.nan] * 30, SD),
    ],
)
def test_drift_needs_a_usable_series(t, d, u):
    with pytest.raises(BadInput):
        find_drift(t, d, u)


def loads(seed: int, n: int = 20):
    rng = np.random.default_rng(seed)
    expected = rng.uniform(150.0, 900.0, n)
    return 1.02 * expected * np.exp(rng.normal(0.0, 0.015, n)), expected


def test_clean_tickets_raise_no_alarm():
    assert sum(bool(weigh_outliers(*loads(seed))) for seed in range(200)) <= 2


def test_the_asked_chance_of_a_false_weigh_alarm_is_kept():
    # 5 % asked for over 800 series: standard error 0.8 %, so within 2.5 to 7.5 %.
    alarms = sum(bool(weigh_outliers(*loads(500 + s), false_alarm=0.05)) for s in range(800))
    assert alarms / 800 == pytest.approx(0.05, abs=0.025)


def test_a_digit_turned_round_is_found():
    net, expected = loads(4)
    net[13] *= 1.25
    (found,) = weigh_outliers(net, expected)
    assert found.index == 13
    assert found.ratio == pytest.approx(1.25, abs=0.06)
    assert found.likely_kg == pytest.approx(1.02 * expected[13], rel=0.02)
    assert "weigh again" in found.sentence


def test_agreement_to_the_gram_does_not_make_a_gram_an_error():
    expected = np.full(10, 100.0)
    net = expected.copy()
    net[3] += 0.1
    assert weigh_outliers(net, expected)
    assert not weigh_outliers(net, expected, least_relative_sd=0.005)


@pytest.mark.parametrize(
    ("net", "expected"), [([1.0] * 5, [1.0] * 5), ([1.0] * 6, [1.0] * 7), ([0.0] * 6, [1.0] * 6)]
)
def test_weights_that_cannot_be_compared(net, expected):
    with pytest.raises(BadInput):
        weigh_outliers(net, expected)
