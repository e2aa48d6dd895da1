"""A works' own trial: constants come back with honest errors, bad trials are refused in words."""

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import (
    blanch,
    mill_law,
    oxidise,
    sift_size,
    trial,
    trial_floor,
    trial_stage,
    wither,
)
from wareleaf.stages.roll_run import Roller, RollRun
from wareleaf.stages.roll_run import simulate as roll

FEED, PRODUCT = [5000.0, 4000.0, 3000.0, 2000.0, 1000.0], [500.0, 300.0, 200.0, 150.0, 100.0]


def noise(count, seed):
    return np.random.default_rng(seed).standard_normal(count)


def near(constant, true, errors=3.5):
    assert constant.standard_error is not None
    assert abs(constant.value - true) < errors * constant.standard_error


@pytest.mark.parametrize("law", mill_law.LAWS)
def test_the_law_that_made_the_work_is_found(law):
    constant = {"bond": 32.0, "rittinger": 9000.0, "kick": 20.0}[law]
    work = [mill_law.work_of(law, constant, a, b) for a, b in zip(FEED, PRODUCT, strict=True)]
    metered = (np.array(work) * (1.0 + 0.02 * noise(5, 1))).tolist()
    found = trial.fit_mill(FEED, PRODUCT, metered)
    assert found[0].fit.model == law
    near(found[0].constants[0], constant)


def test_one_known_reduction_gives_its_printed_constant():
    """Coulson and Richardson vol. 2, example 2.1: 13 kJ/kg from 50 to 10 mm; Kick: K = 13/ln 5."""
    found = trial.fit_mill([50e3, 50e3, 50e3], [10e3, 10e3, 10e3], [12.9, 13.0, 13.1], ["kick"])
    assert found[0].constants[0].value == pytest.approx(8.0774, abs=1e-3)
    # The error of a mean of three, s/sqrt(3) with s = 0.1, over ln 5.
    assert found[0].constants[0].standard_error == pytest.approx(0.1 / 3**0.5 / np.log(5.0))


def test_the_scatter_of_many_trials_is_what_the_error_says():
    work = np.array(
        [mill_law.work_of("bond", 30.0, a, b) for a, b in zip(FEED, PRODUCT, strict=True)]
    )
    pulls = []
    for seed in range(200):
        metered = (work + 3.0 * noise(5, seed)).tolist()
        constant = trial.fit_mill(FEED, PRODUCT, metered, ["bond"])[0].constants[0]
        pulls.append((constant.value - 30.0) / constant.standard_error)
    assert np.mean(pulls) == pytest.approx(0.0, abs=0.25)
    # Student's t with 4 degrees of freedom has a standard deviation of sqrt(2).
    assert np.std(pulls) == pytest.approx(2.0**0.5, rel=0.35)


def test_broken_cells_in_the_roll():
    minutes = [5.0, 10.0, 20.0, 30.0, 45.0, 60.0]
    run = RollRun("tea_black", 150.0, 0.65, disruption=0.05, rate_factor=1.6)
    seen = []
    for at, bit in zip(minutes, noise(6, 2), strict=True):
        done = roll(
            Roller(), RollRun("tea_black", 150.0, 0.65, at, disruption=0.05, rate_factor=1.6)
        )
        seen.append(float(np.clip(done.disruption + 0.01 * bit, 0.0, 1.0)))
    rate, absolute = trial.fit_roll(Roller(), run, minutes, seen)[0].constants
    near(rate, 1.6)
    near(absolute, 0.03 * 1.6)
    assert absolute.standing.evidence == "demo"


def test_a_sieve_and_a_feed():
    size = np.array([0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0])
    stays = sift_size.reid_plitt_oversize(size / 0.8, 4.0) + 0.008 * noise(7, 3)
    share = np.clip(stays, 0, 1).tolist()
    cut, sharp = trial.fit_sieve(size.tolist(), share, 1.0, ["reid_plitt"])[0].constants
    near(cut, 0.8)
    near(sharp, 4.0)
    coarser = 1.0 - sift_size.Feed("rosin_rammler", 1.1, 2.0).passing(size) + 0.004 * noise(7, 4)
    best = trial.fit_sizes(size.tolist(), np.clip(coarser, 0, 1).tolist())[0]
    assert best.fit.model == "rosin_rammler"
    near(best.constants[0], 1.1)
    near(best.constants[1], 2.0)


def test_a_night_on_the_trough():
    slow = wither.WitherRun("tea_black", 1220.0, 0.78, (0.0,), (24.0,), (0.75,))
    hours = np.array([2.0, 4.0, 7.0, 10.0, 12.0, 14.0])
    history = trial_stage.carry(
        wither.Trough(), slow, trial_stage.Cases(np.array([0.7]), np.array([0.78]), np.zeros(1))
    )
    read = np.interp(hours, history.time_h, history.mean_wb[:, 0]) + 0.002 * noise(6, 5)
    factor, rate = trial_stage.fit_wither(
        wither.Trough(), slow, hours.tolist(), read.tolist()
    )[0].constants  # fmt: skip
    near(factor, 0.7)
    assert rate.value == pytest.approx(0.7 * rate.standing.value, rel=0.2)


def test_dips_in_a_bath():
    bath = blanch.Bath(20.0, dip_kg=0.5)
    before = blanch.BlanchRun("sugar_kelp_raw", 0.5, 0.9, 4605.0)
    seconds = [10.0, 30.0, 60.0, 120.0, 300.0]
    left = [
        blanch.simulate(
            bath,
            blanch.BlanchRun(
                "sugar_kelp_raw", 0.5, 0.9, 4605.0, s, leach_factor=0.6, residual_factor=2.0
            ),
        ).iodine_mg_kg_dw
        + 20.0 * bit
        for s, bit in zip(seconds, noise(5, 6), strict=True)
    ]
    constants = trial_stage.fit_blanch(bath, before, seconds, left)[0].constants
    near(constants[0], 0.6)
    near(constants[1], 2.0)


@pytest.mark.slow
def test_theaflavin_on_the_floor():
    floor, run = oxidise.Floor(), oxidise.OxidiseRun("tea_black", 1.0, 0.62)
    made = oxidise.simulate(
        floor,
        oxidise.OxidiseRun(
            "tea_black", 1.0, 0.62, 150.0, rate_factor=1.3, theaflavin_factor=0.8, loss_ratio=6.0
        ),
    )
    minutes = [0.0, 15.0, 30.0, 45.0, 60.0, 80.0, 100.0, 125.0, 150.0]
    read = np.interp(minutes, made.course_min, made.course_theaflavin) + 2e-5 * noise(9, 7)
    found = trial_floor.fit_oxidise(floor, run, minutes, np.maximum(read, 0.0).tolist())
    assert found[0].fit.model == "consecutive_own_loss"
    for constant, true in zip(found[0].constants, (1.3, 0.8, 6.0), strict=True):
        near(constant, true)


ROLLER, ROLLED = Roller(), RollRun("tea_black", 150.0, 0.65)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: trial.fit_mill([5000.0], [500.0], [30.0]), "1 readings.*needs at least 2"),
        (lambda: trial.fit_mill([500.0] * 2, [500.0] * 2, [3.0, 4.0]), "finer than feed_um"),
        (lambda: trial.fit_mill(FEED, PRODUCT, [30.0] * 5), "all 30; a fit needs"),
        (lambda: trial.fit_mill(FEED, PRODUCT[:4], [30.0] * 5), "4 values and feed_um has 5"),
        (lambda: trial.fit_roll(ROLLER, ROLLED, [5.0, 9.0], [0.2, 1.2]), "point 2 is 1.2"),
        (lambda: trial.fit_sieve([1.0, 0.0], [0.5, 0.1], 1.0), "size_mm of point 2 is 0"),
        (lambda: trial.fit_sieve([0.5, 1.0], [0.2, 0.7], 1.0), "needs at least 3"),
        (
            lambda: trial.fit_roll(ROLLER, ROLLED, [5.0, 9.0, 20.0], [0.5, 0.3, 0.2]),
            "disruption falls over the points",
        ),
        (
            lambda: trial.fit_sieve([0.5, 1.0, 2.0], [0.9, 0.5, 0.1], 1.0),
            "share_staying falls over the points; more of the coarse stays",
        ),
        (
            lambda: trial.fit_sizes([0.5, 1.0, 2.0], [0.1, 0.5, 0.9]),
            "share_coarser rises over the points; less stays above",
        ),
        (
            lambda: trial_stage.fit_wither(
                wither.Trough(),
                wither.WitherRun("tea_black", 1200.0, 0.78, (0.0,), (24.0,), (0.75,)),
                [2.0, 4.0, 6.0],
                [0.66, 0.70, 0.74],
            ),
            "reading_wb rises over the points; leaf on a trough loses water",
        ),
        (
            lambda: trial_stage.fit_blanch(
                blanch.Bath(water_kg=100.0, dip_kg=1.0),
                blanch.BlanchRun("sugar_kelp_raw", 1.0, 0.88, 4600.0),
                [15.0, 60.0],
                [9500.0, 1200.0],
            ),
            "point 1 is 9500; the leaf went in with 4600, and it cannot gain",
        ),
        (
            lambda: trial_floor.fit_oxidise(
                oxidise.Floor(), oxidise.OxidiseRun("tea_black", 1.0, 0.6), [20.0, 10.0], [0.1, 0.1]
            ),
            "point 2 is 10 after 20",
        ),
        (
            lambda: trial_stage.fit_wither(
                wither.Trough(),
                wither.WitherRun("tea_black", 20000.0, 0.78, (0.0,), (24.0,), (0.75,)),
                [2.0, 4.0],
                [0.75, 0.7],
            ),
            "fan",
        ),
    ],
)
def test_a_bad_trial_is_refused_in_words(make, says):
    with pytest.raises(BadInput, match=says):
        make()
