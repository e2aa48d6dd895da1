"""May this lot be released to this market? Every limit, what it rests on, and one answer.

A legal row that was not read in the act itself warns; it does not release a lot until the quality
manager has confirmed it. A missing result releases nothing. Guide values warn only.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from wareleaf.measure import Evidence
from wareleaf.release.checks import Finding, find, least_favourable, limit_words
from wareleaf.release.conformity import Decision
from wareleaf.release.limits import Limit, Market, limits_for, market
from wareleaf.release.lots import Confirmation, LotFacts, Result
from wareleaf.release.own_rows import nothing_listed


class Status(StrEnum):
    """Where a lot stands against one limit."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    UNDECIDED = "undecided"
    MISSING_RESULT = "missing_result"
    WARN_ONLY = "warn_only"


@dataclass(frozen=True)
class Line:
    """One limit in an assessment.

    Parameters
    ----------
    limit : Limit
        The row.
    status : Status
        ``warn_only`` for a guide value, and for a legal row that is neither read nor confirmed.
    decision : Decision or None
        What the measurement says, whatever the row rests on; None without a number or result.
    probability : float or None
        That the lot conforms.
    value, standard_uncertainty : float or None
        On the unit and basis of the limit.
    needs_confirmation : bool
        The quality manager must read the text before the lot can go.
    confirmation : Confirmation or None
        The one that counts.
    allows_release : bool
        This row does not stand in the way.
    sentence : str
        For people.
    """

    limit: Limit
    status: Status
    decision: Decision | None
    probability: float | None
    value: float | None
    standard_uncertainty: float | None
    needs_confirmation: bool
    confirmation: Confirmation | None
    allows_release: bool
    sentence: str


@dataclass(frozen=True)
class Assessment:
    """All limits of one market for one lot.

    Parameters
    ----------
    lot_id : str
        The lot.
    market : Market
        Where to.
    on_date : date
        The day the limits were taken for.
    rule, guard_factor
        How measured values were decided.
    lines : tuple of Line
        One a limit, in table order, the contract last.
    may_release : bool
        Nothing stands in the way; a person with the right role must still sign.
    sentences : tuple of str
        The answer first, then every reason and every warning.
    """

    lot_id: str
    market: Market
    on_date: date
    rule: str
    guard_factor: float
    lines: tuple[Line, ...]
    may_release: bool
    sentences: tuple[str, ...]

    def as_facts(self) -> dict[str, Any]:
        """Plain data for a release or hold event in the book."""
        return {
            "lot_id": self.lot_id,
            "market": self.market.id,
            "on_date": self.on_date.isoformat(),
            "rule": self.rule,
            "guard_factor": self.guard_factor,
            "may_release": self.may_release,
            "decisions": [
                {
                    "limit_id": line.limit.id,
                    "parameter": line.limit.parameter,
                    "status": line.status.value,
                    "decision": line.decision.value if line.decision else None,
                    "probability": line.probability,
                    "evidence": line.limit.evidence.value,
                    "confirmed_by": line.confirmation.who if line.confirmation else None,
                    "sentence": line.sentence,
                }
                for line in self.lines
            ],
        }


def _confirmation(limit: Limit, given: Iterable[Confirmation], on: date) -> Confirmation | None:
    fits = [
        c
        for c in given
        if c.limit_id == limit.id
        and c.when <= on
        and c.who.strip()
        and c.text.strip()
        and c.fingerprint in ("", limit.fingerprint())
    ]
    return max(fits, key=lambda c: c.when, default=None)


def _without_number(limit: Limit, confirmation: Confirmation | None) -> Line:
    """A row that records that there is no limit, or advice without a number."""
    place = " ".join(f"{limit.instrument} {limit.clause}".split())
    if limit.legal:
        known = limit.evidence is Evidence.READ or confirmation is not None
        sentence = f"No limit for {limit.parameter} is known ({place}). {limit.note}".strip()
        if not known:
            sentence += f" This is {limit.evidence.value} only; confirm {limit.id} before release."
        status = Status.CONFORMS if known else Status.WARN_ONLY
        return Line(limit, status, None, None, None, None, not known, confirmation, known, sentence)
    sentence = f"{limit.parameter}: {limit.note or place} ({place})."
    return Line(limit, Status.WARN_ONLY, None, None, None, None, False, None, True, sentence)


def _missing(limit: Limit, confirmation: Confirmation | None) -> Line:
    known = limit.contract or limit.evidence is Evidence.READ or confirmation is not None
    binding = limit.legal or limit.contract
    sentence = f"There is no result for {limit.parameter}; the limit is {limit_words(limit)}."
    if binding and not known:
        sentence += f" The figure is {limit.evidence.value} only; confirm {limit.id} too."
    return Line(
        limit=limit,
        status=Status.MISSING_RESULT,
        decision=None,
        probability=None,
        value=None,
        standard_uncertainty=None,
        needs_confirmation=binding and not known,
        confirmation=confirmation,
        allows_release=not binding,
        sentence=sentence,
    )


def _measured(limit: Limit, finding: Finding, confirmation: Confirmation | None) -> Line:
    binding = limit.legal or limit.contract
    known = limit.contract or limit.evidence is Evidence.READ or confirmation is not None
    sentence = finding.sentence
    if binding and known:
        status = Status(finding.decision.value)
    else:
        status = Status.WARN_ONLY
        if binding:
            sentence += f" The figure is {limit.evidence.value} only; confirm {limit.id} first."
        else:
            sentence += f" This is a guide value ({limit.instrument}); it binds no one."
    if confirmation is not None:
        sentence += f" Confirmed by {confirmation.who} on {confirmation.when}: {confirmation.text}."
    return Line(
        limit=limit,
        status=status,
        decision=finding.decision,
        probability=finding.probability,
        value=finding.value,
        standard_uncertainty=finding.standard_uncertainty,
        needs_confirmation=binding and not known,
        confirmation=confirmation,
        allows_release=not binding or (known and finding.decision is Decision.CONFORMS),
        sentence=sentence,
    )


def _summary(lot: LotFacts, place: Market, lines: Sequence[Line], may: bool) -> tuple[str, ...]:
    if may:
        checked = sum(
            line.decision is not None and line.limit.kind != "guideline" for line in lines
        )
        first = (
            f"Lot {lot.lot_id} may be released to {place.name}: {checked} limits measured, all "
            "conform; every legal row is read or confirmed. The quality manager must sign."
        )
    else:
        first = f"Lot {lot.lot_id} may not be released to {place.name}."
    reasons = [f"On hold: {lot.hold_reason.rstrip('.')}."] if lot.hold_reason else []
    reasons += [line.sentence for line in lines if not line.allows_release]
    warnings = [
        line.sentence
        for line in lines
        if line.allows_release
        and line.limit.kind == "guideline"
        and line.status is Status.WARN_ONLY
        and line.decision is not Decision.CONFORMS
    ]
    return (first, *reasons, *warnings)


def assess(
    lot: LotFacts,
    results: Sequence[Result],
    market_id: str,
    confirmations: Iterable[Confirmation] = (),
    on_date: date = date.max,
    *,
    contract: Sequence[Limit] = (),
    rule: str = "guarded",
    guard_factor: float = 2.0,
) -> Assessment:
    """Hold a lot against every limit of a market.

    Parameters
    ----------
    lot : LotFacts
        The lot.
    results : sequence of Result
        All that are valid; of several for one parameter the least favourable counts.
    market_id : str
        Id or name of a market.
    confirmations : iterable of Confirmation
        By the quality manager; later than ``on_date``, unsigned or without a text they do not
        count.
    on_date : date
        Day of release: limits not yet in force are left out. The default takes every row.
    contract : sequence of Limit
        The buyer's specification, see `wareleaf.release.limits.contract_limit`.
    rule, guard_factor
        See `wareleaf.release.conformity.decide`.

    Returns
    -------
    Assessment
        A line a limit and one answer.

    Raises
    ------
    BadInput
        For an unknown market or rule.

    Notes
    -----
    A lot may go only if every legal row that speaks to it was read in the act or confirmed, every
    number has a result that conforms by the rule, the contract is met, and it is not on hold
    (this works' own policy; decisions by JCGM 106:2012).
    """
    place = market(market_id)
    given = tuple(confirmations)
    rows = limits_for(place.id, lot.tags, on_date) or (nothing_listed(place, lot.tags),)
    lines = []
    for limit in (*rows, *contract):
        confirmation = _confirmation(limit, given, on_date) if limit.legal else None
        if limit.limit is None:
            lines.append(_without_number(limit, confirmation))
            continue
        own = [r for r in results if r.parameter == limit.parameter]
        if not own:
            lines.append(_missing(limit, confirmation))
            continue
        worst = least_favourable([find(limit, lot, r, rule, guard_factor) for r in own])
        lines.append(_measured(limit, worst, confirmation))
    may = not lot.hold_reason and all(line.allows_release for line in lines)
    return Assessment(
        lot_id=lot.lot_id,
        market=place,
        on_date=on_date,
        rule=rule,
        guard_factor=guard_factor,
        lines=tuple(lines),
        may_release=may,
        sentences=_summary(lot, place, lines, may),
    )
