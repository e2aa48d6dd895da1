"""Learning from readings: where an exact answer is known, it must come out."""

import numpy as np
import pytest

from wareleaf.stages.learn import carry, learn


def test_one_factor_one_reading_is_the_weighted_mean():
    # Normal prior 0 +- 2 and a reading 3 +- 1 of the factor itself: mean 3*4/(4+1), var 4/5.
    got = learn(lambda f: f, np.array([2.0]), np.array([3.0]), np.array([1.0]))
    assert got.factors[0] == pytest.approx(2.4)
    assert got.covariance[0, 0] == pytest.approx(0.8)


def test_linear_model_against_the_normal_equations():
    rng = np.random.default_rng(4)
    a, prior, sd = rng.normal(size=(6, 3)), np.array([1.0, 0.5, 2.0]), np.full(6, 0.3)
    truth = rng.normal(size=3) * prior
    values = a @ truth + rng.normal(size=6) * sd
    got = learn(lambda f: a @ f, prior, values, sd)
    exact = np.linalg.inv(np.diag(prior**-2) + a.T @ a / 0.09)
    assert got.covariance == pytest.approx(exact, rel=1e-6)
    assert got.factors == pytest.approx(exact @ (a.T @ values / 0.09), rel=1e-6)


def test_without_readings_the_prior_comes_back():
    got = learn(lambda f: f, np.array([0.4]), np.array([]), np.array([]))
    assert got.factors[0] == 0.0
    value, spread = carry(np.exp, got)
    assert value[0] == pytest.approx(1.0)
    assert spread[0] == pytest.approx(0.4, rel=0.01)


def test_a_curved_model_converges_to_the_most_probable_factor():
    # Minimise (f/0.5)**2 + ((exp(f) - 2)/0.05)**2: solved here by a fine scan.
    got = learn(np.exp, np.array([0.5]), np.array([2.0]), np.array([0.05]))
    scan = np.linspace(0, 1.5, 1_500_001)
    cost = (scan / 0.5) ** 2 + ((np.exp(scan) - 2) / 0.05) ** 2
    assert got.factors[0] == pytest.approx(scan[np.argmin(cost)], abs=2e-4)


def test_a_reading_that_fits_nothing_shows_as_misfit():
    got = learn(lambda f: f, np.array([0.1]), np.array([50.0]), np.array([1.0]))
    assert got.misfit > 10
