"""Release a lot to a market: assess it, let the quality manager confirm texts, sign, record.

The assessment is `wareleaf.release`; this job gathers what it needs from the book and keeps what
it said with the release event.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from urllib.parse import urlsplit

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState
from wareleaf.measure.errors import BadInput, require
from wareleaf.release import (
    Assessment,
    Confirmation,
    Limit,
    LotFacts,
    Result,
    all_limits,
    contract_limit,
    lot_facts,
    markets,
    nothing_listed,
)
from wareleaf.release import assess as assess_limits
from wareleaf.works.bench import results_of
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, moisture_sd, record


def facts_of(works: Works, lot: LotState) -> LotFacts:
    """The lot as limits see it."""
    return lot_facts(
        lot.lot_id,
        lot.leaf,
        lot.form,
        moisture_wb=lot.moisture_wb,
        moisture_standard_uncertainty=moisture_sd(lot),
        moisture_wb_fresh=leaves.profile(lot.leaf).moisture_wb_fresh,
        extra_tags=tags_of(works, lot),
        hold_reason=lot.held_because,
    )


def tags_of(works: Works, lot: LotState) -> frozenset[str]:
    """What the product that a lot is made into adds to what limits care for."""
    product_id = lot.attributes.get("product")
    tags = [p.tags for p in works.settings.product if p.id == product_id]
    return frozenset(tag for group in tags for tag in group)


def results_for(works: Works, lot: LotState) -> list[Result]:
    """Laboratory results that speak for the lot, and its moisture as booked."""
    found: dict[str, Result] = {}
    listed: list[Result] = []
    for on_lot, result, _ in results_of(works, lot.lot_id):
        # A moisture found on a parent says nothing of a lot that was dried since.
        if result.parameter == "moisture" and on_lot != lot.lot_id:
            continue
        found.setdefault(result.parameter, result)
        listed.append(result)
    if "moisture" not in found:
        listed.append(
            Result(
                "moisture",
                lot.moisture_wb * 100.0,
                moisture_sd(lot) * 100.0,
                "%",
                "wet",
                reference="book",
                lot_id=lot.lot_id,
            )
        )
    return listed


def confirmations(works: Works) -> list[Confirmation]:
    """Legal texts that the quality manager has confirmed."""
    return [
        Confirmation(
            limit_id=event.facts["limit_id"],
            who=event.who,
            when=event.happened_at.astimezone(works.settings.zone).date(),
            text=event.facts["text"],
            fingerprint=event.facts.get("fingerprint", ""),
        )
        for event in works.book.events_in_force(kind="limit_confirmed")
    ]


def contract_of(works: Works, lot: LotState) -> list[Limit]:
    """What the product that the lot is, or may become, promises its buyers."""
    product_id = lot.attributes.get("product")
    rows = []
    for product in works.settings.product:
        fits = product.id == product_id if product_id else product.leaf == lot.leaf
        if fits and product.site == lot.site:
            rows.append((product.moisture_wb_max, product))
    if not rows:
        return []
    loosest, product = max(rows, key=lambda r: r[0])
    return [
        contract_limit(
            f"own-moisture-{product.id}",
            "moisture",
            "%",
            "wet",
            maximum=loosest * 100.0,
            buyer=product.name,
            note="the works' own promise for this product",
        )
    ]


def assess(works: Works, lot_id: str, market_id: str, on: date | None = None) -> Assessment:
    """Hold a lot against every limit of a market, as known now.

    Raises
    ------
    BadInput
        For an unknown lot or market.
    """
    return _assess(works, lot_id, [market_id], confirmations(works), on)[0]


def assess_all(
    works: Works, lot_id: str, confirmed: Sequence[Confirmation] | None = None
) -> list[Assessment]:
    """The lot against every market that a customer of the works is in.

    ``confirmed`` spares reading the confirmations again when many lots are asked about.
    """
    wanted = dict.fromkeys(c.market for c in works.settings.customer)
    known = confirmations(works) if confirmed is None else confirmed
    return _assess(works, lot_id, wanted, known, None)


def _assess(
    works: Works,
    lot_id: str,
    market_ids: Iterable[str],
    confirmed: Sequence[Confirmation],
    on: date | None,
) -> list[Assessment]:
    """What is known of a lot is gathered once, whatever the number of markets."""
    lot = works.book.lot(lot_id)
    facts, results, contract = (
        facts_of(works, lot),
        results_for(works, lot),
        contract_of(works, lot),
    )
    day = on or works.now().date()
    return [
        assess_limits(facts, results, market_id, confirmed, day, contract=contract)
        for market_id in market_ids
    ]


def release(
    works: Works,
    who: str,
    lot_id: str,
    market_ids: Sequence[str],
    note: str = "",
    *,
    document: str = "",
    certificate: str = "",
) -> Event:
    """Sign a lot free for markets; every one of them must allow it.

    Parameters
    ----------
    document : str
        Number of the paper it rests on, such as a certificate of analysis.
    certificate : str
        Web address or other URI of a certificate the lot is sold under; it goes out with the
        exchange (EPCIS 2.0, certificationInfo).

    Raises
    ------
    BadInput
        When a market does not allow it: the sentence says why, and nothing is written.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, "release a lot", lot.site)
    require(bool(market_ids), "markets", [], "Choose at least one market.")
    certificate = certificate.strip()
    require(
        not certificate or _is_address(certificate),
        "certificate",
        certificate,
        f"certificate is {certificate!r}; give its address, such as https://example.com/cert/7.",
    )
    decisions = _assess(works, lot_id, market_ids, confirmations(works), None)
    for decision in decisions:
        if not decision.may_release:
            raise BadInput("markets", decision.market.id, " ".join(decision.sentences[:3]))
    facts = {
        "lot_id": lot_id,
        "markets": [d.market.id for d in decisions],
        "decisions": [d.as_facts() for d in decisions],
        "note": note,
        **({"certificate": certificate} if certificate else {}),
    }
    return record(
        works,
        Entry(
            kind="release",
            site=lot.site,
            who=who,
            why=note,
            document=document,
            facts=facts,
        ),
    )


def _is_address(text: str) -> bool:
    parts = urlsplit(text)
    return bool(parts.scheme and parts.netloc) and not any(c.isspace() for c in text)


def confirm_limit(works: Works, who: str, limit_id: str, text: str) -> Event:
    """The quality manager has read the legal text of a limit and confirms its figure."""
    acting(works, who, "confirm a limit")
    limit = _limit_of(limit_id)
    require(
        bool(text.strip()), "text", text, "text is empty; say which text was read, and where in it."
    )
    facts = {"limit_id": limit_id, "text": text.strip(), "fingerprint": limit.fingerprint()}
    site = works.settings.site[0].id
    return record(works, Entry(kind="limit_confirmed", site=site, who=who, why=text, facts=facts))


def _limit_of(limit_id: str) -> Limit:
    """A row of the table, or the row that stands for a market the table is silent on.

    Raises
    ------
    BadInput
        When there is neither.
    """
    silent = (
        nothing_listed(place, frozenset({what}))
        for place in markets()
        for what in ("seaweed", "tea")
    )
    for row in (*all_limits(), *silent):
        if row.id == limit_id:
            return row
    raise BadInput("limit_id", limit_id, f"There is no limit {limit_id!r} in the table.")


def known_markets() -> list[str]:
    """Ids of the markets that limits are known for."""
    return [m.id for m in markets()]
