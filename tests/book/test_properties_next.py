"""Which test is worth its money, against cases done by hand and by simulation."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from wareleaf.book.properties import Source, Step, condition, network
from wareleaf.book.properties_next import (
    AtStake,
    Offer,
    chance_wrong,
    expected_chance_wrong,
    next_tests,
)
from wareleaf.measure import BadInput


def test_at_the_limit_the_chance_is_arccos_r_over_pi():
    """Sheppard's orthant formula: a coin toss before, a third after a test with r = 1/2."""
    assert chance_wrong(10.0, 2.0, 10.0) == 0.5
    assert expected_chance_wrong(10.0, 2.0, 10.0, 0.5) == pytest.approx(1 / 3)
    assert expected_chance_wrong(10.0, 2.0, 10.0, math.sqrt(0.5)) == pytest.approx(0.25)


def test_a_perfect_test_leaves_no_doubt_and_an_unrelated_one_leaves_all():
    assert expected_chance_wrong(8.0, 2.0, 10.0, 1.0) == 0.0
    assert expected_chance_wrong(8.0, 2.0, 10.0, 0.0) == pytest.approx(norm.cdf(-1))
    assert expected_chance_wrong(8.0, 2.0, 10.0, 1e-6) == pytest.approx(norm.cdf(-1))
    assert chance_wrong(8.0, 0.0, 10.0) == 0.0


@pytest.mark.parametrize("h", [-1.7, -0.4, 0.3, 1.2])
@pytest.mark.parametrize("r", [0.2, 0.6, 0.95])
def test_owens_t_equals_the_bivariate_normal(h, r):
    both = multivariate_normal([0, 0], [[1, r], [r, 1]]).cdf([h, h / r])
    wrong = norm.cdf(h) + norm.cdf(h / r) - 2 * both
    assert expected_chance_wrong(0.0, 1.0, h, r) == pytest.approx(wrong, abs=1e-5)


def test_the_expected_chance_equals_a_simulation_of_test_and_decision():
    rng = np.random.default_rng(4)
    n, prior, lab, limit = 400_000, 3.0, 2.0, 11.0
    true = rng.normal(10.0, prior, n)
    found = true + rng.normal(0.0, lab, n)
    gain = prior**2 / (prior**2 + lab**2)
    judged = 10.0 + gain * (found - 10.0)
    wrong = np.mean((judged <= limit) != (true <= limit))
    said = expected_chance_wrong(10.0, prior, limit, math.sqrt(gain))
    assert said == pytest.approx(wrong, abs=4 * math.sqrt(0.25 / n))


def family():
    sources = [Source("P", 100.0, 20.0), Source("Q", 100.0, 20.0)]
    split = Step("split", {"P": 1.0}, {"P1": 1.0, "P2": 1.0, "P3": 2.0})
    return condition(network(sources, [split]), [])


def test_a_test_that_speaks_for_three_lots_is_worth_three_times_as_much():
    stake = [AtStake(k, 100.0) for k in ("P1", "P2", "P3", "Q")]
    one, other = next_tests(family(), stake, [Offer("Q", 20.0, 50.0), Offer("P1", 20.0, 50.0)])
    assert (one.lot_id, other.lot_id) == ("P1", "Q")
    assert other.fall == pytest.approx(0.25)  # 1/2 before; r2 = 1/2, so 1/4 after
    assert one.fall == pytest.approx(0.75)
    assert one.fall_per_cost == pytest.approx(0.015)
    assert "50.0% to 25.0%" in one.sentence
    assert "2 more" in one.sentence


def test_cost_turns_the_order_round():
    stake = [AtStake(k, 100.0) for k in ("P1", "P2", "P3", "Q")]
    best = next_tests(family(), stake, [Offer("P1", 20.0, 200.0), Offer("Q", 20.0, 50.0)])[0]
    assert best.lot_id == "Q"


def test_a_test_far_from_any_limit_says_that_it_changes_nothing():
    (only,) = next_tests(family(), [AtStake("P1", 400.0)], [Offer("P1", 5.0, 50.0)])
    assert only.fall == pytest.approx(0.0, abs=1e-9)
    assert "no decision" in only.sentence


def test_a_free_test_or_one_without_doubt_is_refused():
    for offer in (Offer("P1", 5.0, 0.0), Offer("P1", 0.0, 5.0)):
        with pytest.raises(BadInput, match="above 0"):
            next_tests(family(), [AtStake("P1", 100.0)], [offer])
