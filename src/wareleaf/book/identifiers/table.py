"""The table of Application Identifiers, read from rows of the GS1 Barcode Syntax Dictionary."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_ROW = re.compile(r"^(\d{2,4})(?:-(\d{2,4}))? (?:([*?]+) )?(.*?)(?: # (.*))?$")
_COMPONENT = re.compile(r"^(\[)?([NXYZ])(\.\.)?(\d+)\]?(?:,(.*))?$")
_SETS = {"N": "csetnumeric", "X": "cset82"}


@dataclass(frozen=True, slots=True)
class Component:
    """One part of a field: shortest and longest, whether it may be missing, and its checks."""

    shortest: int
    longest: int
    optional: bool
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Identifier:
    """One Application Identifier.

    Parameters
    ----------
    ai : str
        Its digits.
    fixed : bool
        True when no separator follows it.
    in_link : bool
        True when it may be an attribute of a Digital Link.
    components : tuple of Component
        Its parts.
    needs : tuple of tuple of str
        Each a choice of groups; one group must be there too, as in ``01+21``.
    excludes : tuple of str
        May not be there too; ``n`` stands for any digit.
    key : tuple or None
        For a key of Digital Links: the orders of its qualifiers.
    title : str
        As printed.
    """

    ai: str
    fixed: bool
    in_link: bool
    components: tuple[Component, ...]
    needs: tuple[tuple[str, ...], ...]
    excludes: tuple[str, ...]
    key: tuple[tuple[str, ...], ...] | None
    title: str

    @property
    def longest(self) -> int:
        """Most characters."""
        return sum(c.longest for c in self.components)


@cache
def identifiers() -> dict[str, Identifier]:
    """All that are known, by their digits."""
    folder = files("wareleaf.book.identifiers")
    text = folder.joinpath("data/application_identifiers.txt").read_text("utf-8")
    found: dict[str, Identifier] = {}
    for line in text.split("\n"):
        if line and not line.startswith("#"):
            found |= {one.ai: one for one in _row(line)}
    return found


def _row(line: str) -> list[Identifier]:
    match = _ROW.match(line)
    assert match, line
    first, last, flags, rest, title = match.groups()
    components: list[Component] = []
    needs: list[tuple[str, ...]] = []
    excludes: list[str] = []
    key: tuple[tuple[str, ...], ...] | None = None
    for word in rest.split():
        part = _COMPONENT.match(word)
        if part:
            components.append(_component(part))
        elif word.startswith("req="):
            needs.append(tuple(word[4:].split(",")))
        elif word.startswith("ex="):
            excludes += word[3:].split(",")
        elif word.startswith("dlpkey"):
            orders = word.partition("=")[2]
            key = tuple(tuple(o.split(",")) for o in orders.split("|")) if orders else ((),)
    return [
        Identifier(
            ai=str(n).zfill(len(first)),
            fixed="*" in (flags or ""),
            in_link="?" in (flags or ""),
            components=tuple(components),
            needs=tuple(needs),
            excludes=tuple(excludes),
            key=key,
            title=title or "",
        )
        for n in range(int(first), int(last or first) + 1)
    ]


def _component(part: re.Match[str]) -> Component:
    optional, kind, upto, length, checks = part.groups()
    more = tuple(checks.split(",")) if checks else ()
    own = (_SETS[kind],) if kind in _SETS else ()
    return Component(1 if upto else int(length), int(length), bool(optional), (*own, *more))
