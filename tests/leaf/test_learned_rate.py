"""A works' own rate from many runs: limits, the hierarchical model, and drift."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import dblquad

from wareleaf import leaf
from wareleaf.leaf.learned import (
    RatePrior,
    RateSeen,
    learn_rate,
    mean_given_lot_sd,
    own_profile,
    rate_figures,
)
from wareleaf.leaf.learned_course import likeliest_walk, local_level
from wareleaf.measure import BadInput, Evidence

# Effects and standard errors of the eight schools: Rubin 1981, as printed in Gelman et al.,
# Bayesian Data Analysis, section 5.5 (from memory).
SCHOOLS = (
    np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]),
    np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]),
)
# Flow of the Nile at Aswan 1871-1970, 1e8 m3: Cobb 1978, as in Durbin and Koopman (from memory).
NILE = np.fromstring(
    "1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 "
    "1100 1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 "
    "726 456 824 702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 "
    "944 984 897 822 1010 771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 "
    "986 797 923 975 815 1020 906 901 1170 912 746 919 718 714 740",
    sep=" ",
)


def runs(y: np.ndarray, sd: float = 0.02) -> list[RateSeen]:
    return [RateSeen(float(i), float(v), sd, f"R-{i}") for i, v in enumerate(y)]


def test_one_vague_run_leaves_the_profile() -> None:
    found = learn_rate([RateSeen(0.0, 0.5, 50.0)])
    assert found.multiplier == pytest.approx(1.0, abs=0.01)
    assert not found.enough
    assert not found.differs
    assert "needed" in found.said("dry", "the profile")


@pytest.mark.slow
def test_very_many_runs_leave_the_prior_behind() -> None:
    y = np.random.default_rng(3).normal(math.log(1.25), 0.1, 2000)
    found = learn_rate(runs(y, 0.01))
    assert found.log_mean == pytest.approx(float(y.mean()), abs=2e-4)
    assert found.lot_log_sd == pytest.approx(math.sqrt(float(y.var()) - 1e-4), rel=0.02)
    assert found.differs
    said = found.said("dry", "the profile")
    assert "25 % faster" in said or "26 % faster" in said


def test_the_pooled_mean_of_the_eight_schools() -> None:
    """Bayesian Data Analysis 5.5: pooled estimate 7.7, variance 16.6 (printed digits, memory)."""
    y, sd = SCHOOLS
    mean, variance = mean_given_lot_sd(y, sd, np.array([0.0]))
    assert mean[0] == pytest.approx(7.7, abs=0.05)
    assert variance[0] == pytest.approx(16.6, abs=0.05)


def test_the_posterior_is_that_of_plain_numerical_integration() -> None:
    y, own = np.array([0.20, 0.05, 0.31, 0.12]), 0.06
    prior = RatePrior(log_sd=0.3, lot_log_sd=0.15, weight=4.0)

    def density(mean: float, log_lot: float) -> float:
        lot2 = math.exp(2.0 * log_lot)
        v = lot2 + own**2
        log = -0.5 * (mean / prior.log_sd) ** 2 - 0.5 * prior.weight * 2.0 * log_lot
        log -= 0.5 * prior.weight * prior.lot_log_sd**2 / lot2
        return float(np.exp(log - np.sum(0.5 * np.log(v) + (y - mean) ** 2 / (2.0 * v))))

    box = (math.log(0.02), math.log(1.5), -1.0, 1.5)
    whole = dblquad(density, *box)[0]
    first = dblquad(lambda m, s: m * density(m, s), *box)[0] / whole
    second = dblquad(lambda m, s: m * m * density(m, s), *box)[0] / whole
    found = learn_rate(runs(y, own), prior)
    assert found.log_mean == pytest.approx(first, abs=2e-3)
    assert found.log_sd == pytest.approx(math.sqrt(second - first**2), rel=0.02)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(200):
        truth = rng.normal(0.0, 0.4)
        y = truth + rng.normal(0.0, 0.12, 12) + rng.normal(0.0, 0.05, 12)
        found = learn_rate(runs(y, 0.05))
        held += found.low <= math.exp(truth) <= found.high
    assert 180 <= held <= 199  # 95 % of 200 within three binomial standard deviations


def test_the_nile_walks_as_durbin_and_koopman_print_it() -> None:
    """Their maximum likelihood: variance of noise 15099, of the walk 1469.1 (from memory)."""
    gaps = np.ones(NILE.size - 1)
    noise = np.full(NILE.size, 15099.0)
    assert NILE.mean() == pytest.approx(919.35, abs=0.005)
    assert likeliest_walk(NILE, noise, gaps) == pytest.approx(1469.1, rel=0.07)  # grid step 12 %
    best = local_level(NILE, noise, gaps, 1469.1).log_likelihood
    for factor in (0.5, 2.0):
        assert local_level(NILE, noise * factor, gaps, 1469.1).log_likelihood < best
        assert local_level(NILE, noise, gaps, 1469.1 * factor).log_likelihood < best


def test_a_level_that_stands_is_the_weighted_mean() -> None:
    y, v = np.array([1.0, 2.0, 4.0]), np.array([1.0, 0.5, 0.25])
    level = local_level(y, v, np.ones(2), 0.0)
    assert level.mean == pytest.approx(np.full(3, float((y / v).sum() / (1.0 / v).sum())))
    assert level.variance == pytest.approx(np.full(3, 1.0 / float((1.0 / v).sum())))


def test_steady_leaf_rarely_drifts_and_slowing_leaf_is_noticed() -> None:
    rng = np.random.default_rng(5)
    false = sum(learn_rate(runs(rng.normal(0.1, 0.1, 24), 0.03)).course.drifting for _ in range(60))
    assert false <= 3
    slow = np.concatenate([rng.normal(0.0, 0.08, 15), rng.normal(-0.3, 0.08, 15)])
    found = learn_rate(runs(slow, 0.03))
    assert found.course.drifting
    assert found.course.change_share < -0.1
    assert "It drifts" in found.said("dry", "the profile")


def test_the_proposed_figures_make_a_profile_marked_as_derived() -> None:
    base = leaf.profile("sugar_kelp_blanched")
    found = learn_rate(runs(np.full(30, math.log(1.2)), 0.02))
    figures = rate_figures(base, "dry", found)
    own = own_profile(base, figures, "30 runs")
    assert own.dry.rate_per_h == pytest.approx(1.2 * base.dry.rate_per_h, rel=0.01)
    assert 0.0 < own.dry.relative_sd < base.dry.relative_sd
    assert own.figure("dry.rate_per_h").evidence is Evidence.DERIVED
    assert own.wither == base.wither


def test_what_cannot_be_learned_from_is_refused() -> None:
    with pytest.raises(BadInput, match="runs is empty"):
        learn_rate([])
    with pytest.raises(BadInput, match="R-7"):
        learn_rate([RateSeen(0.0, math.nan, 0.1, "R-7")])
    with pytest.raises(BadInput, match="regime"):
        rate_figures(leaf.profile("tea_black"), "wash", learn_rate([RateSeen(0.0, 0.0, 0.1)]))
