"""GS1 element strings: write them, read what a scanner gives, and refuse what is wrong.

An element string is a row of Application Identifiers with their values. People read it with
brackets; a barcode carries it without, with a separator behind fields of open length.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from wareleaf.book.identifiers.content import CHECKS, NOT_CHECKED
from wareleaf.book.identifiers.table import Identifier, identifiers
from wareleaf.measure.errors import BadInput, Problem, require

SEPARATOR = "\x1d"
_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9a-zA-Z]")
_GS1_SYMBOLOGY = ("]C1", "]e0", "]d2", "]Q3", "]J1", "]d8")
_BRACKETED = re.compile(r"\((\d{2,4})\)((?:[^(\\]|\\.)*)")
_DATES = ("11", "12", "13", "15", "16", "17", "7006")


@dataclass(frozen=True, slots=True)
class Element:
    """One field: Application Identifier and value."""

    ai: str
    value: str

    @property
    def title(self) -> str:
        """Its printed title."""
        return identifiers()[self.ai].title

    def meaning(self, year: int) -> str | float | None:
        """A date in full, or a weight in kg; None for anything else.

        ``year`` is the present year: two digits mean the century that lies nearest to it (GS1
        General Specifications section 7.12, from memory).
        """
        if self.ai in _DATES and len(self.value) == 6:
            return _full_date(self.value, year)
        if len(self.ai) == 4 and self.ai[:3] in ("310", "330"):
            return float(Decimal(self.value).scaleb(-int(self.ai[3])))
        if self.ai == "7007":
            return "/".join(
                _full_date(self.value[k : k + 6], year) for k in (0, 6) if self.value[k:]
            )
        return None


def _full_date(text: str, year: int) -> str:
    found = year - year % 100 + int(text[:2])
    if found - year >= 51:
        found -= 100
    elif found - year <= -50:
        found += 100
    if text[4:] == "00":
        return f"{found:04d}-{text[2:4]}"
    return date(found, int(text[2:4]), int(text[4:])).isoformat()


def elements_of(fields: Mapping[str, str] | Iterable[tuple[str, str]]) -> tuple[Element, ...]:
    """Checked elements from AIs and values, in the order given.

    Raises
    ------
    BadInput
        With everything that is wrong.
    """
    pairs = fields.items() if isinstance(fields, Mapping) else fields
    found = tuple(Element(ai, value) for ai, value in pairs)
    problems = [p for element in found for p in _content_problems(element)]
    if not problems:
        problems = list(_pairing_problems(found))
    if problems:
        raise BadInput.of(problems)
    require(bool(found), "elements", None, "There are no fields; give at least one, such as 01.")
    return found


def _content_problems(element: Element) -> Iterable[Problem]:
    known = identifiers().get(element.ai)
    field = f"({element.ai})"
    if known is None:
        yield Problem(
            field,
            element.value,
            f"({element.ai}) is no Application Identifier that is known here; give one such as 01, "
            "10, 15 or 3103.",
        )
        return
    rest = element.value
    for n, part in enumerate(known.components):
        if not rest and part.optional:
            break
        last = n == len(known.components) - 1
        piece, rest = (rest, "") if last else (rest[: part.longest], rest[part.longest :])
        if not part.shortest <= len(piece) <= part.longest:
            size = f"{part.longest}" if part.shortest == part.longest else f"1 to {part.longest}"
            yield Problem(
                field,
                element.value,
                f"({element.ai}) {known.title} is {element.value!r}; a part of it is "
                f"{len(piece)} characters long, it must be {size}.",
            )
            return
        for check in part.checks:
            wrong = "" if check in NOT_CHECKED else CHECKS[check](piece)
            if wrong:
                yield Problem(
                    field,
                    element.value,
                    f"({element.ai}) {known.title} is {element.value!r}; {piece!r} {wrong}.",
                )
                return


def _pairing_problems(elements: tuple[Element, ...]) -> Iterable[Problem]:
    values: dict[str, str] = {}
    for element in elements:
        if values.setdefault(element.ai, element.value) != element.value:
            yield Problem(
                f"({element.ai})",
                element.value,
                f"({element.ai}) stands twice with different values.",
            )
    for ai, value in values.items():
        known = identifiers()[ai]
        for pattern in known.excludes:
            for other in values:
                if other != ai and _matches(pattern, other):
                    yield Problem(f"({ai})", value, f"({ai}) and ({other}) may not stand together.")
        for choices in known.needs:
            if not any(_has(group, values) for group in choices):
                wanted = " or ".join(f"({g.replace('+', ')+(')})" for g in choices[:6])
                yield Problem(f"({ai})", value, f"({ai}) {known.title} needs {wanted} beside it.")


def _has(group: str, values: Iterable[str]) -> bool:
    return all(any(_matches(pattern, ai) for ai in values) for pattern in group.split("+"))


def _matches(pattern: str, ai: str) -> bool:
    return len(pattern) == len(ai) and all(p in ("n", c) for p, c in zip(pattern, ai, strict=True))


def bracketed(elements: Iterable[Element]) -> str:
    r"""For people: ``(01)09506000134352(10)A1``; a bracket in a value is written ``\(``."""
    return "".join(f"({e.ai}){e.value.replace('(', chr(92) + '(')}" for e in elements)


def raw(elements: Iterable[Element]) -> str:
    """As a barcode carries it, with separators where they are needed."""
    text = ""
    listed = list(elements)
    for n, element in enumerate(listed):
        text += element.ai + element.value
        if n < len(listed) - 1 and not identifiers()[element.ai].fixed:
            text += SEPARATOR
    return text


def read(text: str) -> tuple[Element, ...]:
    """Elements from what a scanner gives or a person types.

    With brackets, or raw with or without the symbology identifier in front (``]d2``), separators as
    the control character or as ``^``.

    Raises
    ------
    BadInput
        For anything else, or fields that are wrong.
    """
    text = text.strip("\r\n ")
    if text.startswith("("):
        return _read_bracketed(text)
    symbology = _SYMBOLOGY.match(text)
    if symbology:
        require(
            symbology[0] in _GS1_SYMBOLOGY,
            "scan",
            text,
            f"The scan begins with {symbology[0]}: that barcode carries no GS1 fields.",
        )
        text = text[3:]
    return _read_raw(text.replace("^", SEPARATOR).removeprefix(SEPARATOR))


def _read_bracketed(text: str) -> tuple[Element, ...]:
    found, end = [], 0
    for match in _BRACKETED.finditer(text):
        require(match.start() == end, "scan", text, f"{text!r} cannot be read at {text[end:]!r}.")
        found.append((match[1], match[2].replace("\\(", "(")))
        end = match.end()
    require(end == len(text), "scan", text, f"{text!r} cannot be read at {text[end:]!r}.")
    return elements_of(found)


def _read_raw(text: str) -> tuple[Element, ...]:
    found: list[tuple[str, str]] = []
    rest = text
    while rest:
        known = _front(rest)
        if known is None:
            raise BadInput(
                "scan",
                text,
                f"{text!r} cannot be read: no Application Identifier at {rest[:12]!r}.",
            )
        rest = rest[len(known.ai) :]
        field, separator, after = rest.partition(SEPARATOR)
        if known.fixed:
            value, rest = rest[: known.longest], rest[known.longest :]
            rest = rest.removeprefix(SEPARATOR)
        else:
            value, rest = field, after
            require(not separator or bool(after), "scan", text, f"{text!r} ends in a separator.")
        found.append((known.ai, value))
    require(bool(found), "scan", text, "The scan is empty.")
    return elements_of(found)


def _front(text: str) -> Identifier | None:
    return next((identifiers()[text[:n]] for n in (4, 3, 2) if text[:n] in identifiers()), None)
