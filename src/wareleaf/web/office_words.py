"""Words of the office pages: parameters, evidence, decisions, findings; filters for templates."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from wareleaf import leaf as leaves
from wareleaf.measure import Evidence
from wareleaf.release import Decision, Line, Status
from wareleaf.release.checks import limit_words
from wareleaf.web.words import for_people, hour_of, kilos, number
from wareleaf.works.finding import Finding

# How well a figure is known, as a word on a screen and its tint.
EVIDENCE: Mapping[str, tuple[str, str]] = {
    Evidence.READ: ("read in the text", "good"),
    Evidence.SECONDARY: ("second hand", "due"),
    Evidence.DERIVED: ("derived", ""),
    Evidence.MEMORY: ("from memory", "due"),
    Evidence.PRACTICE: ("common practice", ""),
    Evidence.DEMO: ("set by us", ""),
}

CHECKS: Mapping[str, tuple[str, str]] = {
    "weight": ("Weights", "intake weights against the tickets"),
    "meter": ("Meters", "meters against the reference tried on the same leaf"),
    "wet": ("Wet lots", "dried lots against the moisture they keep at"),
    "limit": ("Limits", "laboratory results against the limits of the customers' markets"),
    "fill": ("Short packs", "net weights against what the packs say"),
    "balance": ("Missing leaf", "dry matter in and out of every step"),
    "reconcile": ("What does not fit", "weights and moistures of the season against each other"),
    "seal": ("The book", "the seal that runs through all entries"),
}


def parameter_name(parameter: str) -> str:
    """A parameter as people say it."""
    return parameter.replace("_", " ")


def evidence_mark(evidence: str) -> tuple[str, str]:
    """Word and tint of an evidence mark."""
    return EVIDENCE.get(str(evidence), (str(evidence), ""))


def standing_of(line: Line | None) -> tuple[str, str]:
    """Where a lot stands against one limit of one market, as a word with its tint."""
    if line is None:
        return ("none there", "")
    if line.limit.limit is None:
        found = ("confirm the text", "due") if line.needs_confirmation else ("sets no number", "")
    elif line.status is Status.MISSING_RESULT:
        found = ("no result", "") if line.allows_release else ("no result", "due")
    elif line.decision is Decision.CONFORMS:
        found = ("confirm the text", "due") if line.needs_confirmation else ("conforms", "good")
    elif line.decision is Decision.DOES_NOT_CONFORM:
        found = ("beyond", "due" if line.allows_release else "stop")
    else:
        found = ("too close to tell", "due")
    return found


def figure(value: float | None) -> str:
    """A measured value with the three figures that matter."""
    return "–" if value is None else f"{value:.3g}" if abs(value) < 1000.0 else f"{value:.0f}"


def spread(value: float) -> str:
    """The half-width of a band, with the two figures that matter."""
    return f"{value:.2g}" if abs(value) < 100.0 else f"{value:.0f}"


def chance(probability: float | None) -> str:
    """A probability in percent; never a bare 0 or 100."""
    if probability is None:
        return "–"
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    return f"{probability * 100:.1f} %"


_SAYS = {
    Decision.CONFORMS: "is kept, but the figure of the limit is not confirmed",
    Decision.DOES_NOT_CONFORM: "is beyond the limit",
    Decision.UNDECIDED: "is too close to the limit to tell",
}


def reason(line: Line) -> str:
    """Why a limit stands in the way, with its doubt for 95 % as everywhere on the page."""
    name = parameter_name(line.limit.parameter)
    if line.value is None or line.decision is None:
        return for_people(line.sentence.replace(line.limit.parameter, name))
    doubt = line.standard_uncertainty
    value = figure(line.value) + (f" ± {spread(2.0 * doubt)}" if doubt is not None else "")
    odds = (
        f"; chance it is kept: {chance(line.probability)}" if line.probability is not None else ""
    )
    return for_people(
        f"{name} {value} {line.limit.unit} {_SAYS[line.decision]}: {limit_words(line.limit)}{odds}."
    )


def plain_leaf(sentence: str) -> str:
    """A sentence of the plan with the names of leaf in place of their ids."""
    for leaf_id in leaves.profile_ids():
        if leaf_id in sentence:
            name = leaves.profile(leaf_id).name
            sentence = sentence.replace(leaf_id, name[:1].lower() + name[1:])
    return for_people(sentence)


def check_name(kind: str) -> str:
    """The name of a check of the watch."""
    return CHECKS[kind][0] if kind in CHECKS else kind


def _drift(value: Any, fraction: bool) -> str:
    return f"{100.0 * value:+.1f} % points" if fraction else f"{value:+.3g}"


# What the numbers of a finding are called, and how they are written.
_NUMBERS: Mapping[str, tuple[str, Callable[[Any], str]]] = {
    "ratio": ("weighed over expected", lambda v: f"{v:.2f}"),
    "z": ("times its uncertainty", lambda v: f"{v:.1f}"),
    "likely_kg": ("likely weight", kilos),
    "moisture_wb": ("moisture", lambda v: f"{100 * v:.1f} %"),
    "limit_wb": ("keeps below", lambda v: f"{100 * v:.1f} %"),
    "chance": ("chance it is too wet", lambda v: chance(float(v))),
    "mean_error_g": ("mean error of a pack", lambda v: f"{v:+.1f} g"),
    "t1_count": ("packs beyond the tolerance", lambda v: f"{v:.0f}"),
    "t2_count": ("packs beyond twice the tolerance", lambda v: f"{v:.0f}"),
    "dry_g": ("dry matter", lambda v: kilos(v / 1000.0)),
    "dry_sd_g": ("uncertainty of it", lambda v: kilos(v / 1000.0)),
    "booked_g": ("booked", lambda v: kilos(v / 1000.0)),
    "fitted_g": ("fits", lambda v: kilos(v / 1000.0)),
    "fitted_sd_g": ("uncertainty of it", lambda v: kilos(v / 1000.0)),
    "fine": ("may still fit", lambda v: ", ".join(map(str, v)) or "none"),
}


def finding_numbers(finding: Finding, fraction: bool = False) -> list[tuple[str, str]]:
    """The numbers of a finding with names people know.

    ``fraction`` says that its meter reads a fraction, which is shown in percent.
    """
    numbers = finding.numbers
    if finding.kind == "meter":
        return [
            ("since about", f"{datetime.fromisoformat(str(numbers['onset_at'])):%a %d %b}"),
            ("more each week", _drift(numbers["per_week"], fraction)),
            ("off by now", _drift(numbers["error_now"], fraction)),
        ]
    return [
        (_NUMBERS[name][0], _NUMBERS[name][1](value))
        for name, value in numbers.items()
        if name in _NUMBERS and value is not None
    ]


def finding_sentence(finding: Finding, meter: str, fraction: bool = False) -> str:
    """The sentence of a finding; a meter's with a date and in the meter's own unit."""
    if finding.kind != "meter":
        return for_people(finding.sentence)
    since = datetime.fromisoformat(str(finding.numbers["onset_at"]))
    error = float(finding.numbers["error_now"])
    side = "high" if error > 0.0 else "low"
    return (
        f"{meter} drifts since about {since:%a %d %b}: it now reads "
        f"{_drift(error, fraction).lstrip('+-')} too {side}. Have it adjusted, and doubt what it "
        "read since."
    )


def property_name(name: str) -> str:
    """A property of a blend as people say it."""
    if name == "moisture_wb":
        return "moisture"
    if name.startswith("grade:"):
        return f"share of {name.removeprefix('grade:')}"
    return parameter_name(name)


def property_unit(name: str) -> str:
    """The unit a property of a blend is shown and typed in."""
    if name == "moisture_wb":
        return "% wb"
    return "%" if name.startswith("grade:") else "mg/kg dry"


def property_per(name: str) -> float:
    """What a property is shown multiplied by: a fraction is shown in percent."""
    return 100.0 if name == "moisture_wb" or name.startswith("grade:") else 1.0


_SHARE = r"(moisture_wb|grade:[\w-]+)"
_NUMBER = r"(\d+(?:\.\d+)?(?:e-?\d+)?)"
_BOUND = re.compile(rf"{_SHARE} at (most|least) {_NUMBER}(?: \(([^()]*?) is {_NUMBER}\))?")
_COMES_TO = re.compile(rf"{_SHARE} comes to {_NUMBER} ± {_NUMBER}")


def _percent(text: str) -> str:
    return f"{100.0 * float(text):.3g} %"


def blend_sentence(sentence: str) -> str:
    """A sentence of a blend with its shares in percent and its properties in words."""

    def bound(found: re.Match[str]) -> str:
        name, side, value, words, reachable = found.groups()
        kept = f" ({words} is {_percent(reachable)})" if reachable else ""
        return f"{property_name(name)} at {side} {_percent(value)}{kept}"

    def comes_to(found: re.Match[str]) -> str:
        name, value, sd = found.groups()
        return f"{property_name(name)} comes to {_percent(value)} ± {_percent(sd)} (1 sd)"

    said = _COMES_TO.sub(comes_to, _BOUND.sub(bound, sentence))
    return for_people(said.replace("the order: ", ""))


def unit_words(unit: str) -> str:
    """A unit as it is printed; a pure number has none."""
    if unit == "1":
        return ""
    for plain_unit, shown in (("degC", "°C"), ("m2", "m²"), ("m3", "m³")):
        unit = unit.replace(plain_unit, shown)
    return unit


def span(start: datetime, end: datetime, now: datetime) -> str:
    """A stretch of time: 09:15 to 11:40."""
    return f"{hour_of(start, now)} to {hour_of(end, now)}"


def money(value: float, currency: str) -> str:
    """An amount of money, whole."""
    return f"{number(value, 0)} {currency}"


OFFICE_FILTERS: tuple[Callable[..., Any], ...] = (
    parameter_name,
    evidence_mark,
    standing_of,
    figure,
    spread,
    chance,
    reason,
    plain_leaf,
    check_name,
    finding_numbers,
    finding_sentence,
    property_name,
    property_unit,
    property_per,
    blend_sentence,
    unit_words,
    span,
    money,
)
