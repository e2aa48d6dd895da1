"""Which lot to test next: what each test would save of wrong releases and wrong holds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from wareleaf.book import LotState
from wareleaf.book.properties_next import (
    AtStake,
    NextTest,
    Offer,
    chance_beyond,
    cost_now,
    cost_with_test,
    next_tests,
)
from wareleaf.release.checks import limit_words
from wareleaf.stages.carry import sample_relative_sd
from wareleaf.works.bench import waiting
from wareleaf.works.bench_list import SELLABLE
from wareleaf.works.house import Works
from wareleaf.works.properties.believe import Known, beliefs
from wareleaf.works.properties.carry import MOISTURE
from wareleaf.works.properties.risk import Edge, edges_of, node_of, percent

USUAL_LABORATORY_SD = 0.10  # relative, where no result tells it. Common practice, no source.
USUAL_OVEN_SD = 0.003  # kg water per kg dry matter; the same
_LEAST_SAVED = 0.1  # of the price: a test that saves less is not worth a line (own choice)


@dataclass(frozen=True)
class Suggestion:
    """One test, and what it is worth.

    Parameters
    ----------
    lot_id, parameter : str
        What to test for what.
    price, saves : float
        In the works' currency: of the test, and by how much the expected cost of wrong words
        falls, over all lots it speaks for.
    saves_per_price : float
        The rank.
    decides_for : str
        Lot whose decision it helps most; mostly the tested one.
    limit, market : str
        Which decision.
    chance_beyond : float
        That this lot lies beyond the limit, as known.
    wrong_before, wrong_after : float
        Chance that a word on it by what is known is wrong: now, and expected after the test.
    helps : int
        Lots whose decision it helps.
    sample_id : str
        A sample of the lot that already waits, else empty.
    sentence : str
        For people.
    """

    lot_id: str
    parameter: str
    price: float
    saves: float
    saves_per_price: float
    decides_for: str
    limit: str
    market: str
    chance_beyond: float
    wrong_before: float
    wrong_after: float
    helps: int
    sample_id: str
    sentence: str


@dataclass(frozen=True)
class _Decision:
    stake: AtStake
    lot: LotState
    edge: Edge


def worth_testing(
    works: Works, site_id: str | None = None, most: int | None = 10
) -> tuple[Suggestion, ...]:
    """Tests worth their price, best first.

    Lots count that could be sold and are not released to a market whose rules or whose contract
    bind. The word on a lot is taken as given by what is known of it; in truth a lot without a
    result of its own, or of all its parents, is never released.

    Parameters
    ----------
    works : Works
        Open works.
    site_id : str, optional
        Only lots of this site.
    most : int, optional
        How many at most; all when None.
    """
    believed = beliefs(works)
    stock = [lot for lot in works.book.lots(site=site_id, in_stock_only=True) if not lot.on_runs]
    waits = {w.lot_id: w.sample_id for w in waiting(works, site_id)}
    found: list[Suggestion] = []
    for at, season in enumerate(believed.seasons):
        mine = [lot for lot in stock if lot.lot_id in season.made]
        by_parameter: dict[str, list[tuple[LotState, Edge, float]]] = {}
        for lot, edge, share in _waiting_decisions(works, mine):
            by_parameter.setdefault(edge.limit.parameter, []).append((lot, edge, share))
        for parameter, decisions in by_parameter.items():
            known = believed.known(at, parameter)
            if known is not None:
                found += _suggest(works, known, mine, decisions, waits)
    found.sort(key=lambda s: (-s.saves_per_price, s.lot_id, s.parameter))
    return tuple(found[:most])


def _waiting_decisions(
    works: Works, stock: Sequence[LotState]
) -> Iterator[tuple[LotState, Edge, float]]:
    """Lots with the limits that bind where they may still go, and their part of the decision."""
    markets = list(dict.fromkeys(c.market for c in works.settings.customer))
    for lot in stock:
        if lot.form not in SELLABLE or lot.held_because:
            continue
        still = [m for m in markets if m not in lot.released_for]
        seen: set[tuple[str, float]] = set()
        for edge in edges_of(works, lot, still):
            key = (edge.limit.parameter, edge.value)
            if edge.binds and key not in seen:
                seen.add(key)
                yield lot, edge, 1.0 / len(still)


def _suggest(
    works: Works,
    known: Known,
    stock: Sequence[LotState],
    decisions: Sequence[tuple[LotState, Edge, float]],
    waits: Mapping[str, str],
) -> Iterator[Suggestion]:
    """Tests of one content on lots of one family."""
    counts = works.settings.laboratory.wrong_release_counts
    taken = []
    for lot, edge, share in decisions:
        worth = max(share * _worth(works, lot), 1e-6)
        node = node_of(known, lot.lot_id)
        stake = AtStake(node, edge.value, counts * worth, worth, edge.least)
        taken.append(_Decision(stake, lot, edge))
    price = _price(works, known.given.parameter)
    lot_of = {node_of(known, lot.lot_id): lot for lot in stock}
    offers = [Offer(node, _result_sd(works, known, node), price) for node in lot_of]
    by_stake = {d.stake: d for d in taken}
    for test in next_tests(known.belief, [d.stake for d in taken], offers):
        if test.helped and test.fall >= _LEAST_SAVED * price:
            first = by_stake[test.helped[0].at_stake]
            lot = lot_of[test.offer.lot_id]
            yield _said(works, known, test, first, lot, waits.get(lot.lot_id, ""))


def _said(
    works: Works, known: Known, test: NextTest, first: _Decision, lot: LotState, sample_id: str
) -> Suggestion:
    stake, belief = first.stake, known.belief
    now = belief.of(stake.lot_id)
    tested = math.hypot(belief.of(test.offer.lot_id).sd, test.offer.sd)
    shared = float(belief.covariance([stake.lot_id], [test.offer.lot_id])[0, 0])
    even = AtStake(stake.lot_id, stake.limit, least=stake.least)
    beyond = chance_beyond(now.mean, now.sd, stake.limit, stake.least)
    before = cost_now(now.mean, now.sd, even)
    after = cost_with_test(now.mean, now.sd, even, shared / (now.sd * tested))
    name = known.given.parameter.replace("_", " ")
    currency = works.settings.firm.currency
    helps = len({h.at_stake.lot_id for h in test.helped})
    said = (
        f"Test {lot.lot_id} for {name} ({test.offer.price:.0f} {currency}): {first.lot.lot_id} has "
        f"a chance of {percent(beyond)} of being beyond the limit, {limit_words(first.edge.limit)} "
        f"({first.edge.whose}); the chance of a wrong answer on it falls from {percent(before)} to "
        f"{percent(after)}"
    )
    said += f"; it helps with {helps - 1} more." if helps > 1 else "."
    return Suggestion(
        lot.lot_id,
        known.given.parameter,
        test.offer.price,
        test.fall,
        test.per_price,
        first.lot.lot_id,
        limit_words(first.edge.limit),
        first.edge.whose,
        beyond,
        before,
        after,
        helps,
        sample_id,
        said,
    )


def _price(works: Works, parameter: str) -> float:
    prices = works.settings.laboratory
    return prices.price_per_test.get(parameter, prices.price_other)


def _result_sd(works: Works, known: Known, node: str) -> float:
    """Standard uncertainty of a result to come, as results like it had; sampling is in it."""
    before = [t.finding for t in known.given.told]
    if known.given.parameter == MOISTURE:
        return median(f.sd for f in before) if before else USUAL_OVEN_SD
    own = works.settings.laboratory.sample_relative_sd
    sampling = sample_relative_sd() if own is None else own
    relative = [f.sd / f.value for f in before if f.value > 0.0]
    usual = median(relative) if relative else math.hypot(USUAL_LABORATORY_SD, sampling)
    return max(usual * known.belief.of(node).mean, 1e-9)


def _worth(works: Works, lot: LotState) -> float:
    """Money that what is left of a lot would fetch."""
    own = lot.attributes.get("product")
    prices = [
        p.price_per_kg
        for p in works.settings.product
        if (p.id == own if own else p.leaf == lot.leaf and p.site == lot.site)
    ]
    per_kg = max(prices, default=works.settings.costs.leaf_per_kg.get(lot.leaf, 1.0))
    return per_kg * lot.remaining_mass_g / 1000.0
