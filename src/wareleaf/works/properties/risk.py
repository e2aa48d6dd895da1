"""Limits seen from what is known of a lot. A warning at most: it never lets a lot go."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from wareleaf.book import LotState
from wareleaf.book.properties_next import chance_beyond
from wareleaf.leaf.contents import unit_of
from wareleaf.measure.errors import BadInput
from wareleaf.release import Limit, limits_for
from wareleaf.release.checks import limit_words
from wareleaf.release.quantities import convert_content, moisture_content
from wareleaf.works.bench import results_of
from wareleaf.works.bench_list import SELLABLE
from wareleaf.works.house import Works
from wareleaf.works.properties.believe import Known, beliefs
from wareleaf.works.properties.carry import MOISTURE
from wareleaf.works.properties.season import rest_of
from wareleaf.works.release_lot import contract_of, facts_of

LEAST_CHANCE = 0.05  # of being beyond, to be told of (own choice)


@dataclass(frozen=True)
class Edge:
    """A limit on the unit and basis that properties are kept in."""

    limit: Limit
    market: str
    value: float

    @property
    def binds(self) -> bool:
        """A lot beyond it may not go."""
        return self.limit.legal or self.limit.contract

    @property
    def whose(self) -> str:
        """Who set it."""
        return "own promise" if self.limit.contract else self.market

    @property
    def least(self) -> bool:
        """A least value, not a greatest."""
        return self.limit.lower is not None


@dataclass(frozen=True)
class Risk:
    """What is known of a lot for which no result speaks, held against a limit.

    Parameters
    ----------
    limit, market : Limit, str
        Which.
    chance : float
        Of lying beyond it.
    sentence : str
        For people.
    """

    limit: Limit
    market: str
    chance: float
    sentence: str


def edges_of(works: Works, lot: LotState, markets: Sequence[str]) -> Iterator[Edge]:
    """Limits of markets, and the works' own promise, that can be held against what is known."""
    facts = facts_of(works, lot)
    today = works.now().date()
    for market in markets:
        for limit in (*limits_for(market, facts.tags, today), *contract_of(works, lot)):
            if limit.limit is None or limit.sample_n is not None:
                continue
            wet = {
                "wet": facts.moisture_wb,
                "hydrated": limit.basis_moisture_wb,
                "fresh": facts.moisture_wb_fresh,
            }
            try:
                yield Edge(limit, market, _on_dry(limit, wet.get(limit.basis)))
            except BadInput:
                continue  # a count, an activity: nothing that travels with dry matter


def _on_dry(limit: Limit, moisture_wb: float | None) -> float:
    assert limit.limit is not None
    if limit.parameter == MOISTURE:
        share = moisture_content(
            limit.limit, 0.0, unit=limit.unit, to_unit="fraction", basis=limit.basis
        ).value
        return share / (1.0 - share)
    return convert_content(
        limit.limit,
        0.0,
        unit=limit.unit,
        to_unit=unit_of(limit.parameter),
        basis=limit.basis,
        to_basis="dry",
        moisture_wb=moisture_wb,
    ).value


def node_of(known: Known, lot_id: str) -> str:
    """What is left of a lot, where parts of it went their own way."""
    rest = rest_of(lot_id)
    return rest if rest in known.belief.net.index else lot_id


def risks(works: Works, lot_id: str) -> tuple[Risk, ...]:
    """Limits that bind and that a lot without a result may well be beyond, likeliest first.

    Only of leaf in a form that is sold: raw leaf is not done yet.
    Results count that a release would take, so also those of all its parents. Moisture is left
    out: every lot was measured for it when it was made.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    lot = works.book.lot(lot_id)
    if lot.form not in SELLABLE:
        return ()
    believed = beliefs(works)
    at, _ = believed.season_of(lot_id)
    markets = list(dict.fromkeys(c.market for c in works.settings.customer))
    spoken = {result.parameter for _, result, _ in results_of(works, lot_id)}
    found: dict[str, Risk] = {}
    for edge in edges_of(works, lot, markets):
        if edge.limit.parameter == MOISTURE or not edge.binds:
            continue
        known = believed.known(at, edge.limit.parameter)
        if known is None or edge.limit.id in found or edge.limit.parameter in spoken:
            continue
        seen = known.belief.of(node_of(known, lot_id))
        chance = chance_beyond(seen.mean, seen.sd, edge.value, edge.least)
        if chance >= LEAST_CHANCE:
            found[edge.limit.id] = Risk(edge.limit, edge.market, chance, _sentence(edge, chance))
    return tuple(sorted(found.values(), key=lambda r: (-r.chance, r.limit.id)))


def _sentence(edge: Edge, chance: float) -> str:
    name = edge.limit.parameter.replace("_", " ")
    return (
        f"No result for {name} speaks for this lot. Its relatives and its leaf give it a chance "
        f"of {percent(chance)} of being beyond the limit, {limit_words(edge.limit)} ({edge.whose})."
    )


def percent(chance: float) -> str:
    """A chance in percent with the figures that matter, never a bare 0 or 100."""
    if chance < 0.001:
        return "under 0.1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{100.0 * chance:.1f} %" if chance < 0.1 else f"{100.0 * chance:.0f} %"
