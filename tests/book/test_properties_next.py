"""Which test is worth its money, against cases done by hand and by simulation."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from wareleaf.book.properties import Finding, Source, Step, condition, network
from wareleaf.book.properties_next import (
    AtStake,
    Offer,
    both_under,
    chance_beyond,
    cost_now,
    cost_with_test,
    next_tests,
)
from wareleaf.measure import BadInput


@pytest.mark.parametrize("h", [-1.7, -0.4, 0.0, 0.3, 1.2])
@pytest.mark.parametrize("k", [-2.1, 0.0, 0.7])
@pytest.mark.parametrize("r", [-0.6, 0.2, 0.95])
def test_the_bivariate_normal_equals_numerical_integration(h, k, r):
    """Against the integrator of SciPy (Genz), which is good to 1e-5."""
    said = multivariate_normal([0, 0], [[1, r], [r, 1]]).cdf([h, k])
    assert both_under(h, k, r) == pytest.approx(said, abs=1e-5)


def test_at_the_limit_the_chance_is_arccos_r_over_pi():
    """Sheppard's orthant formula: a coin toss before, a third after a test with r = 1/2."""
    stake = AtStake("A", 10.0)
    assert cost_now(10.0, 2.0, stake) == 0.5
    assert cost_with_test(10.0, 2.0, stake, 0.5) == pytest.approx(1 / 3)
    assert cost_with_test(10.0, 2.0, stake, math.sqrt(0.5)) == pytest.approx(0.25)


def test_a_perfect_test_leaves_no_doubt_and_an_unrelated_one_leaves_all():
    stake = AtStake("A", 10.0, 30.0, 2.0)
    before = min(30.0 * norm.cdf(-1), 2.0 * norm.cdf(1))
    assert cost_with_test(8.0, 2.0, stake, 1.0) == 0.0
    assert cost_with_test(8.0, 2.0, stake, 0.0) == pytest.approx(before)
    assert cost_with_test(8.0, 2.0, stake, 1e-6) == pytest.approx(before)
    assert cost_now(8.0, 0.0, stake) == 0.0
    assert chance_beyond(11.0, 0.0, 10.0) == 1.0


@pytest.mark.parametrize(
    ("mean", "costs"), [(10.0, (1.0, 1.0)), (10.0, (20.0, 1.0)), (12.5, (1.0, 4.0))]
)
def test_the_expected_cost_equals_a_simulation_of_test_and_decision(mean, costs):
    """The lot is drawn, tested and judged by the guard band of the costs, 400,000 times."""
    rng = np.random.default_rng(4)
    n, prior, lab, limit = 400_000, 3.0, 2.0, 11.0
    true = rng.normal(mean, prior, n)
    gain = prior**2 / (prior**2 + lab**2)
    judged = mean + gain * (true + rng.normal(0.0, lab, n) - mean)
    left = prior * math.sqrt(1.0 - gain)
    beyond = norm.sf(limit, judged, left)
    goes = costs[0] * beyond <= costs[1] * (1.0 - beyond)
    paid = np.where(goes, costs[0] * (true > limit), costs[1] * (true <= limit))
    said = cost_with_test(mean, prior, AtStake("A", limit, *costs), math.sqrt(gain))
    assert said == pytest.approx(paid.mean(), abs=4 * paid.std() / math.sqrt(n))
    assert said < cost_now(mean, prior, AtStake("A", limit, *costs))


def test_a_least_value_is_a_greatest_value_seen_in_the_mirror():
    up, down = AtStake("A", 12.0, 9.0, 2.0), AtStake("A", -12.0, 9.0, 2.0, least=True)
    assert cost_now(10.0, 2.0, up) == pytest.approx(cost_now(-10.0, 2.0, down))
    assert cost_with_test(10.0, 2.0, up, 0.7) == pytest.approx(
        cost_with_test(-10.0, 2.0, down, 0.7)
    )


def family():
    sources = [Source("P", 100.0, 20.0), Source("Q", 100.0, 20.0)]
    split = Step("split", {"P": 1.0}, {"P1": 1.0, "P2": 1.0, "P3": 2.0})
    return condition(network(sources, [split]), [])


def test_a_test_that_speaks_for_three_lots_is_worth_three_times_as_much():
    stake = [AtStake(k, 100.0) for k in ("P1", "P2", "P3", "Q")]
    one, other = next_tests(family(), stake, [Offer("Q", 20.0, 50.0), Offer("P1", 20.0, 50.0)])
    assert (one.offer.lot_id, other.offer.lot_id) == ("P1", "Q")
    assert other.fall == pytest.approx(0.25)  # 1/2 before; r2 = 1/2, so 1/4 after
    assert one.fall == pytest.approx(0.75)
    assert one.per_price == pytest.approx(0.015)
    assert [h.at_stake.lot_id for h in one.helped] == ["P1", "P2", "P3"]


def test_price_and_what_is_at_stake_turn_the_order_round():
    stake = [AtStake(k, 100.0) for k in ("P1", "P2", "P3", "Q")]
    best = next_tests(family(), stake, [Offer("P1", 20.0, 200.0), Offer("Q", 20.0, 50.0)])[0]
    assert best.offer.lot_id == "Q"
    stake[-1] = AtStake("Q", 100.0, 9.0, 9.0)
    best = next_tests(family(), stake, [Offer("P1", 20.0, 50.0), Offer("Q", 20.0, 50.0)])[0]
    assert best.offer.lot_id == "Q"


def test_a_test_far_from_any_limit_is_worth_nothing_and_so_is_a_second_one():
    (far,) = next_tests(family(), [AtStake("P1", 400.0)], [Offer("P1", 5.0, 50.0)])
    assert far.fall == pytest.approx(0.0, abs=1e-9)
    known = condition(family().net, [Finding("P1", 70.0, 1e-3)])
    (again,) = next_tests(known, [AtStake("P1", 100.0)], [Offer("P1", 5.0, 50.0)])
    assert again.fall == pytest.approx(0.0, abs=1e-9)


def test_a_free_test_one_without_doubt_and_a_costless_mistake_are_refused():
    for offer in (Offer("P1", 5.0, 0.0), Offer("P1", 0.0, 5.0)):
        with pytest.raises(BadInput, match="above 0"):
            next_tests(family(), [AtStake("P1", 100.0)], [offer])
    with pytest.raises(BadInput, match="above 0"):
        AtStake("P1", 100.0, wrong_hold=0.0)
