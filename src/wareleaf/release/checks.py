"""One limit against the results of one lot: the measured decision, before evidence is weighed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wareleaf.measure import BadInput, require
from wareleaf.release.conformity import Decision, decide
from wareleaf.release.limits import Limit
from wareleaf.release.lots import LotFacts, Result
from wareleaf.release.quantities import Content, convert_content, moisture_content

_WORST = (Decision.DOES_NOT_CONFORM, Decision.UNDECIDED, Decision.CONFORMS)


@dataclass(frozen=True)
class Finding:
    """What one result says about one limit.

    Parameters
    ----------
    decision : Decision
        By the rule.
    probability : float or None
        That the lot conforms; None where it cannot be known.
    value, standard_uncertainty : float or None
        On the unit and basis of the limit.
    sentence : str
        For people.
    result : Result
        Which it was.
    """

    decision: Decision
    probability: float | None
    value: float | None
    standard_uncertainty: float | None
    sentence: str
    result: Result


def basis_words(limit: Limit) -> str:
    """The basis of a limit as people say it."""
    if limit.basis == "hydrated" and limit.basis_moisture_wb is not None:
        return f"soaked to {limit.basis_moisture_wb:.0%} water"
    words = {"wet": "as sold", "dry": "dry matter", "fresh": "fresh weight", "none": ""}
    return words.get(limit.basis, limit.basis)


def limit_words(limit: Limit) -> str:
    """The limit as people say it, for example ``at most 3 mg/kg dry matter``."""
    if limit.limit is None:
        return "no number"
    side = "at least" if limit.lower is not None else "at most"
    return " ".join(f"{side} {limit.limit:g} {limit.unit} {basis_words(limit)}".split())


def on_basis(limit: Limit, lot: LotFacts, result: Result) -> Content:
    """A result on the unit and basis of a limit.

    Parameters
    ----------
    limit : Limit
        With a number.
    lot : LotFacts
        Gives the moistures.
    result : Result
        Of the same parameter.

    Returns
    -------
    Content
        Value and standard uncertainty.

    Raises
    ------
    BadInput
        When a moisture is missing or the units differ in kind.
    """
    if limit.parameter == "moisture":
        return moisture_content(
            result.value,
            result.standard_uncertainty,
            unit=result.unit,
            to_unit=limit.unit,
            basis=result.basis,
        )
    if limit.basis == "none":
        return Content(result.value, result.standard_uncertainty)
    target = {
        "wet": lot.moisture_wb,
        "hydrated": limit.basis_moisture_wb,
        "fresh": lot.moisture_wb_fresh,
    }
    of_sample, spread = result.moisture_wb, 0.0
    if of_sample is None and result.basis == "wet":
        require(
            result.lot_id in ("", lot.lot_id),
            "moisture_wb",
            None,
            f"The moisture of the sample from lot {result.lot_id} is missing; lot {lot.lot_id} "
            "may be drier or wetter than it was.",
        )
        if result.lot_id:
            of_sample = lot.moisture_wb
            spread = 0.0 if limit.basis == "wet" else lot.moisture_standard_uncertainty
    if of_sample is None and result.basis == "fresh":
        of_sample = lot.moisture_wb_fresh
    return convert_content(
        result.value,
        result.standard_uncertainty,
        unit=result.unit,
        to_unit=limit.unit,
        basis=result.basis,
        to_basis=limit.basis,
        moisture_wb=of_sample,
        to_moisture_wb=target.get(limit.basis),
        moisture_standard_uncertainty=spread,
    )


def _below_loq(limit: Limit, content: Content, result: Result) -> Finding:
    """A value known only to lie below the quantification limit."""
    assert limit.limit is not None
    text = f"{limit.parameter} is below {content.value:g} {limit.unit}"
    under = content.value <= limit.limit
    if limit.upper is not None and (under or limit.below_loq == "zero"):
        why = "counts as zero here" if limit.below_loq == "zero" else "which is within"
        return Finding(
            Decision.CONFORMS,
            None,
            content.value,
            None,
            f"{text}, {why}; the limit is {limit_words(limit)}.",
            result,
        )
    if limit.lower is not None and under:
        decision = Decision.DOES_NOT_CONFORM
        why = "under the least value"
    else:
        decision = Decision.UNDECIDED
        why = "and the method cannot see down to the limit"
    sentence = f"{text}, {why}; the limit is {limit_words(limit)}."
    return Finding(decision, None, content.value, None, sentence, result)


def _several_units(limit: Limit, content: Content, result: Result) -> Finding:
    """A sampling plan: how many of the sample units exceed the limit."""
    assert limit.limit is not None and limit.sample_n is not None
    allowed = limit.sample_c or 0
    if len(result.units) < limit.sample_n:
        sentence = (
            f"{limit.parameter} needs {limit.sample_n} sample units, "
            f"{max(len(result.units), 1)} were examined."
        )
        return Finding(Decision.UNDECIDED, None, content.value, None, sentence, result)
    scale = content.value / result.value if result.value > 0.0 else 1.0
    over = sum(unit * scale > limit.limit for unit in result.units)
    decision = Decision.CONFORMS if over <= allowed else Decision.DOES_NOT_CONFORM
    sentence = (
        f"{limit.parameter}: {over} of {len(result.units)} units are over "
        f"{limit.limit:g} {limit.unit}; {allowed} may be."
    )
    return Finding(decision, None, content.value, None, sentence, result)


def find(limit: Limit, lot: LotFacts, result: Result, rule: str, guard_factor: float) -> Finding:
    """Hold one result against one limit.

    Parameters
    ----------
    limit : Limit
        With a number.
    lot : LotFacts
        Gives the moistures.
    result : Result
        Of the same parameter.
    rule, guard_factor
        See `wareleaf.release.conformity.decide`.

    Returns
    -------
    Finding
        Undecided, with the reason, where the bases cannot be compared.
    """
    try:
        content = on_basis(limit, lot, result)
    except BadInput as refusal:
        sentence = f"{limit.parameter} cannot be compared with {limit.id}: {refusal}"
        return Finding(Decision.UNDECIDED, None, None, None, sentence, result)
    if result.below_loq:
        return _below_loq(limit, content, result)
    if limit.sample_n is not None:
        return _several_units(limit, content, result)
    outcome = decide(
        content.value,
        content.standard_uncertainty,
        lower=limit.lower,
        upper=limit.upper,
        rule=rule,
        guard_factor=guard_factor,
    )
    verdict = {
        Decision.CONFORMS: "conforms",
        Decision.DOES_NOT_CONFORM: "does not conform",
        Decision.UNDECIDED: "is too close to call",
    }[outcome.decision]
    sentence = (
        f"{limit.parameter} {content.value:.4g} ± {content.standard_uncertainty:.2g} {limit.unit} "
        f"{verdict}: the limit is {limit_words(limit)} "
        f"(probability of conforming {outcome.probability_conforming:.3f})."
    )
    return Finding(
        outcome.decision,
        outcome.probability_conforming,
        content.value,
        content.standard_uncertainty,
        " ".join(sentence.split()),
        result,
    )


def least_favourable(findings: Sequence[Finding]) -> Finding:
    """Of several results for one parameter the least favourable counts; none is averaged away."""
    return min(
        findings,
        key=lambda f: (_WORST.index(f.decision), 1.0 if f.probability is None else f.probability),
    )
