"""What samples off the floor say of its rate: made runs of unknown yield and heat."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from wareleaf.leaf.learned import LOG_RATES, RatePrior, RateSeen, learn_rate
from wareleaf.measure import BadInput
from wareleaf.stages import oxidise
from wareleaf.stages.common import StageReading
from wareleaf.stages.oxidise import Floor, OxidiseRun

NODES = np.linspace(LOG_RATES[0], LOG_RATES[-1], 13)
FLOOR = Floor(dry_bulb_c=27.0)
LEAF = OxidiseRun("tea_black", 600.0, 0.66, minutes=130.0, cut="orthodox_coarse")
SHARE = StageReading(0.75, "oxidised_share", 0.4, 0.01)
EARLY = StageReading(0.75, "theaflavin_fraction", 0.004, 0.0001)
LATE = StageReading(2.0, "theaflavin_fraction", 0.006, 0.0001)
LOT_SD = 0.12


def true_readings(rate, yields=1.0, heat=1.0, readings=(EARLY, LATE)):
    run = replace(LEAF, rate_factor=rate, theaflavin_factor=yields, heat_factor=heat)
    found = oxidise.simulate(FLOOR, run)
    rows = {
        "theaflavin_fraction": found.course_theaflavin,
        "oxidised_share": found.course_oxidised,
    }
    return np.array(
        [np.interp(60.0 * r.time_h, found.course_min, rows[r.quantity]) for r in readings]
    )


@pytest.mark.parametrize("log_rate", [-0.6, 0.0, 0.42])
def test_a_sure_share_says_the_rate(log_rate):
    courses = oxidise.by_rate(FLOOR, LEAF, [SHARE], NODES)
    seen = true_readings(math.exp(log_rate), readings=[SHARE])
    said = courses.log_likelihood(seen, np.array([0.003]), LOG_RATES)
    assert LOG_RATES[np.argmax(said)] == pytest.approx(log_rate, abs=0.03)


def test_the_course_of_a_rate_is_that_of_the_floor_at_that_rate():
    courses = oxidise.by_rate(FLOOR, LEAF, [EARLY, LATE, SHARE], NODES)
    between = courses.on(np.array([0.1]))[0]
    there = true_readings(math.exp(0.1), readings=(EARLY, LATE, SHARE))
    assert between == pytest.approx(there, rel=2e-3)


def test_what_leaf_yields_is_not_taken_for_its_rate():
    """Twice the theaflavin in both samples leaves the likeliest rate where it was."""
    courses = oxidise.by_rate(FLOOR, LEAF, [EARLY, LATE], NODES)
    sd = np.array([1e-4, 1e-4])
    peaks = [
        LOG_RATES[np.argmax(courses.log_likelihood(true_readings(1.3, y), sd * y, LOG_RATES))]
        for y in (0.8, 1.0, 1.25)
    ]
    assert np.ptp(peaks) < 0.08  # the yield is believed near one
    assert peaks[1] == pytest.approx(math.log(1.3), abs=0.04)


def test_one_sample_of_theaflavin_tells_little_and_two_tell_more():
    """A bell over the rates is as wide as one: from its curvature, sd of the belief."""

    def width(readings, values, sd):
        said = oxidise.by_rate(FLOOR, LEAF, readings, NODES).log_likelihood(values, sd, LOG_RATES)
        weight = np.exp(said - said.max())
        weight /= weight.sum()
        return math.sqrt(weight @ (LOG_RATES - weight @ LOG_RATES) ** 2)

    values, sd = true_readings(1.0), np.array([1.5e-4, 2e-4])
    one = width([EARLY], values[:1], sd[:1])
    assert one > 0.3
    assert width([EARLY, LATE], values, sd) < 0.35 * one


def test_readings_that_nothing_in_reach_gives_are_far():
    courses = oxidise.by_rate(FLOOR, LEAF, [EARLY, LATE], NODES)
    sd = np.array([1e-4, 1e-4])
    assert courses.farthest(true_readings(1.0), sd, LOG_RATES) < 2.0
    assert courses.farthest(np.array([0.006, 0.0001]), sd, LOG_RATES) > 4.0


@pytest.mark.slow
def test_the_learned_rate_of_a_floor_is_as_sure_as_it_says():
    """20 works of 12 runs with unknown yield and heat: no bias, intervals hold as they say."""
    rng = np.random.default_rng(20260509)
    works, runs = 20, 12
    relative, least = 0.03, 1e-4
    courses = oxidise.by_rate(FLOOR, LEAF, [EARLY, LATE], NODES)
    z, held, sure = [], 0, []
    for _ in range(works):
        mean = rng.normal(0.0, 0.25)
        rows = []
        for i in range(runs):
            rate = math.exp(mean + LOT_SD * rng.standard_normal())
            yields, heat = np.exp(0.4 * rng.standard_normal(2))
            true = true_readings(rate, yields, heat)
            sd = np.hypot(least, relative * true)
            said = courses.log_likelihood(true + sd * rng.standard_normal(2), sd, LOG_RATES)
            rows.append(RateSeen(float(i), 0.0, 0.0, f"R-{i}", tuple(said.tolist())))
        found = learn_rate(rows, RatePrior(lot_log_sd=oxidise.figure("all.rate_log_sd")))
        z.append((mean - found.log_mean) / found.log_sd)
        held += found.low <= math.exp(mean) <= found.high
        sure.append(found.log_sd)
    assert abs(np.mean(z)) < 3.0 / math.sqrt(works)
    assert 0.5 < np.std(z) < 1.4
    assert held >= binom.ppf(0.002, works, 0.95)
    assert np.median(sure) < 0.12  # 0.4 before any run


def test_the_forecast_of_theaflavin_is_that_of_many_floors():
    """Mean and spread over rates and yields, at one temperature, against 40,000 drawn floors.

    There the course is known in closed form (see test_oxidise): no simulation is asked twice.
    """
    rng = np.random.default_rng(5)
    at, course = np.array([30.0, 90.0, 140.0, 200.0]), np.linspace(0.0, 400.0, 801)

    def theaflavin(minutes):
        return oxidise.theaflavin_shape(-np.expm1(-0.0042 * minutes), 3.0)

    mean, sd = oxidise.theaflavin_course(course, theaflavin(course), 0.19, at)
    rates, yields = np.exp(rng.standard_normal((2, 40_000, 1)) * [[[0.19]], [[0.4]]])
    made = theaflavin(rates * at)
    assert mean == pytest.approx(made.mean(axis=0), rel=0.01)
    # The yield scatters about a mean of one: its median is that of the model in `log_likelihood`.
    assert sd == pytest.approx((made * yields / math.exp(0.08)).std(axis=0), rel=0.03)


def test_readings_that_say_nothing_are_refused():
    with pytest.raises(BadInput, match="give at least one"):
        oxidise.by_rate(FLOOR, LEAF, [], NODES)
    with pytest.raises(BadInput, match="says nothing of the rate"):
        oxidise.by_rate(FLOOR, LEAF, [StageReading(1.0, "moisture_wb", 0.6, 0.01)], NODES)
    with pytest.raises(BadInput, match="rate_log_sd"):
        replace(LEAF, rate_log_sd=0.0)
