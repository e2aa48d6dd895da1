"""Which lot to test next: the largest fall in the expected cost of a wrong word for its price.

A lot with a limit is either called within or held back. Called within and beyond the limit it
costs ``wrong_release``; held back and within, ``wrong_hold``. With the content X as known, mean m
and standard deviation s, the least expected cost is that of calling it within when
``m + k s <= limit``, with ``k = z(wrong_release / (wrong_release + wrong_hold))`` and z the normal
quantile: the guard band that the two costs ask for. After a test the best estimate M will lie
elsewhere; before the test, M and X are jointly normal with correlation r, where r^2 is the part of
the variance of X that the test takes away, and s' = s sqrt(1 - r^2) is left. So the expected cost
with the test (the preposterior analysis of Raiffa and Schlaifer 1961, from memory) is

    wrong_release P(X > limit, M <= limit - k s') + wrong_hold P(X <= limit, M > limit - k s')

both from the bivariate normal integral, which is closed in Owen's T. It never exceeds the cost
without the test. With both costs 1 it is the chance of a wrong word.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr, ndtri, owens_t

from wareleaf.book.properties import Belief
from wareleaf.book.properties_given import check_given
from wareleaf.book.properties_network import Vector


@dataclass(frozen=True, slots=True)
class AtStake:
    """A lot that waits for a decision against one limit.

    Parameters
    ----------
    lot_id : str
        The lot.
    limit : float
        Greatest value, in the unit of the network; least value when ``least``.
    wrong_release, wrong_hold : float
        What it costs to let it go beyond the limit, and to hold it back within; above 0.
    least : bool
        See ``limit``.
    """

    lot_id: str
    limit: float
    wrong_release: float = 1.0
    wrong_hold: float = 1.0
    least: bool = False

    def __post_init__(self) -> None:
        check_given(
            math.isfinite(self.limit), "limit", self.limit, f"of {self.lot_id} is no number"
        )
        for name in ("wrong_release", "wrong_hold"):
            cost = getattr(self, name)
            good = math.isfinite(cost) and cost > 0.0
            check_given(good, name, cost, f"of {self.lot_id} must be above 0")


@dataclass(frozen=True, slots=True)
class Offer:
    """A test that could be made.

    Parameters
    ----------
    lot_id : str
        Lot to sample.
    sd : float
        Standard uncertainty of the result, in the unit of the network; above 0.
    price : float
        What it costs, above 0.
    """

    lot_id: str
    sd: float
    price: float


@dataclass(frozen=True, slots=True)
class Helped:
    """What a test does for one decision: expected cost of a wrong word without it and with it."""

    at_stake: AtStake
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test with what it is worth.

    Parameters
    ----------
    offer : Offer
        The test.
    fall : float
        By how much the expected cost of wrong words falls, over all decisions.
    per_price : float
        ``fall`` over the price.
    helped : tuple of Helped
        The decisions it helps, most first.
    """

    offer: Offer
    fall: float
    per_price: float
    helped: tuple[Helped, ...]


def chance_beyond(mean: float, sd: float, limit: float, least: bool = False) -> float:
    """Chance that a content lies beyond a limit; 0 or 1 when ``sd`` is 0."""
    beyond = limit - mean if least else mean - limit
    if sd <= 0.0:
        return float(beyond > 0.0)
    return float(ndtr(beyond / sd))


def both_under(h: float, k: float, r: float) -> float:
    """P(X <= h, Y <= k) of standard normals with correlation r, -1 < r < 1.

    Owen 1956, Annals of Mathematical Statistics 27, equation 2.1 (from memory; held against
    numerical integration in the tests).
    """
    if h == 0.0 and k == 0.0:
        return 0.25 + math.asin(r) / (2.0 * math.pi)
    rest = math.sqrt(1.0 - r * r)

    def wedge(a: float, b: float) -> float:
        if a == 0.0:
            return math.copysign(0.25, b)
        return float(owens_t(a, (b / a - r) / rest))

    lift = 0.0 if h * k > 0.0 or (h * k == 0.0 and h + k >= 0.0) else 0.5
    found = 0.5 * float(ndtr(h) + ndtr(k)) - wedge(h, k) - wedge(k, h) - lift
    return min(max(found, 0.0), 1.0)


def cost_now(mean: float, sd: float, stake: AtStake) -> float:
    """Expected cost of the better of the two words, as things are known."""
    beyond = chance_beyond(mean, sd, stake.limit, stake.least)
    return min(stake.wrong_release * beyond, stake.wrong_hold * (1.0 - beyond))


def cost_with_test(mean: float, sd: float, stake: AtStake, correlation: float) -> float:
    """Expected cost after a test whose result will move the estimate.

    Parameters
    ----------
    mean, sd : float
        As known now.
    stake : AtStake
        The limit and the two costs.
    correlation : float
        Of the lot's content with the result to come; the sign does not matter.

    Returns
    -------
    float
        From 0 (correlation 1) to `cost_now` (correlation 0).
    """
    r = min(abs(correlation), 1.0)
    now = cost_now(mean, sd, stake)
    if sd <= 0.0 or r < 1e-9:
        return now
    if r > 1.0 - 1e-12:
        return 0.0
    h = (mean - stake.limit if stake.least else stake.limit - mean) / sd
    guard = float(ndtri(stake.wrong_release / (stake.wrong_release + stake.wrong_hold)))
    k = (h - guard * math.sqrt(1.0 - r * r)) / r
    both = both_under(h, k, r)
    released = max(float(ndtr(k)) - both, 0.0)
    held = max(float(ndtr(h)) - both, 0.0)
    return min(stake.wrong_release * released + stake.wrong_hold * held, now)


def next_tests(
    belief: Belief, at_stake: Sequence[AtStake], offers: Sequence[Offer]
) -> tuple[NextTest, ...]:
    """Tests by what they are worth for their price, best first.

    Parameters
    ----------
    belief : Belief
        What is known.
    at_stake : sequence of AtStake
        Decisions that wait; a test helps every lot that shares errors with the tested one.
    offers : sequence of Offer
        Tests that could be made. Each is weighed alone: after one result, ask again.

    Raises
    ------
    BadInput
        For an unknown lot, or a test that costs nothing or has no uncertainty.
    """
    for offer in offers:
        check_given(offer.price > 0.0, "price", offer.price, f"of {offer.lot_id} must be above 0")
        check_given(offer.sd > 0.0, "sd", offer.sd, f"of {offer.lot_id} must be above 0")
    if not at_stake or not offers:
        return ()
    joint = belief.covariance([a.lot_id for a in at_stake], [o.lot_id for o in offers])
    found = [_worth(belief, at_stake, o, joint[:, i]) for i, o in enumerate(offers)]
    return tuple(sorted(found, key=lambda t: (-t.per_price, t.offer.lot_id)))


def _worth(belief: Belief, at_stake: Sequence[AtStake], offer: Offer, joint: Vector) -> NextTest:
    result_sd = math.hypot(belief.of(offer.lot_id).sd, offer.sd)
    helped = []
    for stake, shared in zip(at_stake, joint, strict=True):
        now = belief.of(stake.lot_id)
        r = float(shared) / (now.sd * result_sd) if now.sd > 0.0 else 0.0
        before = cost_now(now.mean, now.sd, stake)
        helped.append(Helped(stake, before, cost_with_test(now.mean, now.sd, stake, r)))
    fall = math.fsum(h.before - h.after for h in helped)
    most = sorted(
        (h for h in helped if h.before - h.after > 1e-3 * fall > 0.0),
        key=lambda h: (h.after - h.before, h.at_stake.lot_id),
    )
    return NextTest(offer, fall, fall / offer.price, tuple(most))
