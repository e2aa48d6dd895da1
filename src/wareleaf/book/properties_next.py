"""Which lot to test next: the largest fall in the chance of a wrong decision for its cost.

A lot with a limit is judged by its best estimate: within if it lies within. With the content X as
known now, mean m and standard deviation s, that is wrong with the chance Phi(-|h|), where
h = (limit - m)/s. After a test the estimate M will lie elsewhere; before the test, M and X are
jointly normal with correlation r, where r^2 is the part of the variance of X that the test takes
away. The expected chance of a wrong decision is then

    P(X > limit, M <= limit) + P(X <= limit, M > limit) = 2 T(h, sqrt(1 - r^2) / r)

with Owen's T (Owen 1956, Annals of Mathematical Statistics 27, from memory; at h = 0 it is
arccos(r)/pi, Sheppard's formula for the orthants). It never exceeds the chance without the test.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr, owens_t

from wareleaf.book.properties import Belief, Vector
from wareleaf.book.properties_given import check_given


@dataclass(frozen=True, slots=True)
class AtStake:
    """A lot that waits for a decision against one limit, a greatest value.

    Parameters
    ----------
    lot_id : str
        The lot.
    limit : float
        In the unit of the network.
    weight : float
        How much a wrong decision on it counts; 1 for all makes it a count of wrong decisions.
    """

    lot_id: str
    limit: float
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Offer:
    """A test that could be made.

    Parameters
    ----------
    lot_id : str
        Lot to sample.
    sd : float
        Standard uncertainty of the result, in the unit of the network; above 0.
    cost : float
        What it costs, above 0.
    """

    lot_id: str
    sd: float
    cost: float


@dataclass(frozen=True, slots=True)
class Helped:
    """What a test does for one decision: chance of a wrong one without it and expected with it."""

    lot_id: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test with what it is worth.

    Parameters
    ----------
    lot_id : str
        Lot to sample.
    fall : float
        By how much the expected number of wrong decisions falls (times the weights).
    cost, fall_per_cost : float
        Of the test.
    helped : tuple of Helped
        The decisions it helps, most first.
    sentence : str
        For people.
    """

    lot_id: str
    fall: float
    cost: float
    fall_per_cost: float
    helped: tuple[Helped, ...]
    sentence: str


def chance_wrong(mean: float, sd: float, limit: float) -> float:
    """Chance that judging a lot by its best estimate is wrong."""
    if sd <= 0.0:
        return 0.0
    return float(ndtr(-abs(limit - mean) / sd))


def expected_chance_wrong(mean: float, sd: float, limit: float, correlation: float) -> float:
    """The same after a test whose result will move the estimate.

    Parameters
    ----------
    mean, sd, limit : float
        As known now.
    correlation : float
        Of the lot's content with the result to come; the sign does not matter.

    Returns
    -------
    float
        From 0 (correlation 1) to `chance_wrong` (correlation 0).
    """
    r = min(abs(correlation), 1.0)
    if sd <= 0.0 or r >= 1.0:
        return 0.0
    if r == 0.0:
        return chance_wrong(mean, sd, limit)
    return float(2.0 * owens_t((limit - mean) / sd, math.sqrt(1.0 - r * r) / r))


def next_tests(
    belief: Belief, at_stake: Sequence[AtStake], offers: Sequence[Offer]
) -> tuple[NextTest, ...]:
    """Tests by what they are worth for their cost, best first.

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
        check_given(offer.cost > 0.0, "cost", offer.cost, f"of {offer.lot_id} must be above 0")
        check_given(offer.sd > 0.0, "sd", offer.sd, f"of {offer.lot_id} must be above 0")
    if not at_stake or not offers:
        return ()
    joint = belief.covariance([a.lot_id for a in at_stake], [o.lot_id for o in offers])
    found = [_worth(belief, at_stake, o, joint[:, i]) for i, o in enumerate(offers)]
    return tuple(sorted(found, key=lambda t: (-t.fall_per_cost, t.lot_id)))


def _worth(
    belief: Belief,
    at_stake: Sequence[AtStake],
    offer: Offer,
    joint: Vector,
) -> NextTest:
    result_sd = math.hypot(belief.of(offer.lot_id).sd, offer.sd)
    fall, helped = 0.0, []
    for stake, shared in zip(at_stake, joint, strict=True):
        now = belief.of(stake.lot_id)
        before = chance_wrong(now.mean, now.sd, stake.limit)
        r = float(shared) / (now.sd * result_sd) if now.sd > 0.0 else 0.0
        after = min(expected_chance_wrong(now.mean, now.sd, stake.limit, r), before)
        fall += stake.weight * (before - after)
        if before - after > 1e-6:
            helped.append(Helped(stake.lot_id, before, after))
    helped.sort(key=lambda h: (h.after - h.before, h.lot_id))
    worth = fall / offer.cost
    said = _sentence(offer, tuple(helped))
    return NextTest(offer.lot_id, fall, offer.cost, worth, tuple(helped), said)


def _sentence(offer: Offer, helped: tuple[Helped, ...]) -> str:
    if not helped:
        return f"A test of {offer.lot_id} would change no decision noticeably."
    first = helped[0]
    said = (
        f"Test {offer.lot_id} for {offer.cost:g}: the chance of a wrong decision on {first.lot_id} "
        f"falls from {first.before:.1%} to {first.after:.1%}"
    )
    if len(helped) > 1:
        said += f", and on {len(helped) - 1} more"
    return said + "."
