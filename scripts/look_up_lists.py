"""Rows of the lists in ``docs/look-up``: doors, commands, roles, leaf, markets, evidence."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

SOURCE = Path(__file__).resolve().parent.parent / "src" / "wareleaf"


def code(text: object) -> str:
    """In the letters of the machine."""
    return f"`{text}`"


def door_rows() -> Iterator[list[str]]:
    """Name and purpose of each calculation door, and what it must be given."""
    from wareleaf.works.doors import door_names, schema, summary

    for name in door_names():
        needed = schema(name)["input"].get("required", [])
        yield [code(name), summary(name), ", ".join(code(n) for n in needed) or "see its schema"]


def command_rows() -> Iterator[list[str]]:
    """Name and purpose of each command."""
    here = SOURCE / "cli" / "commands"
    for path in sorted(here.glob("[a-z]*.py")):
        doc = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
        yield [code(path.stem.replace("_", "-")), doc.splitlines()[0]]


def role_rows() -> Iterator[list[str]]:
    """Which role may do which job."""
    from wareleaf.works.people import MAY

    for job, roles in MAY.items():
        yield [job, *("yes" if role in roles else "" for role in role_names())]


def role_names() -> tuple[str, ...]:
    """Roles of the settings, in their order."""
    from typing import get_args

    from wareleaf.works.settings.places import Role

    return get_args(Role)


def leaf_rows() -> Iterator[list[str]]:
    """Leaf profiles that ship, with the moistures that steer a day."""
    from wareleaf import leaf

    for leaf_id in leaf.profile_ids():
        p = leaf.profile(leaf_id)
        wet = (p.moisture_wb_fresh, p.moisture_wb_target, p.moisture_wb_store_limit)
        hours = (p.hold_hours(15.0), p.spoil_hours(15.0))
        yield [
            code(leaf_id),
            p.name,
            *(f"{100 * m:.3g} %" for m in wet),
            *(f"{float(h):.2g} h" for h in hours),
        ]


def market_rows() -> Iterator[list[str]]:
    """Markets that a customer can be in."""
    from wareleaf.release import markets

    for market in markets():
        yield [code(market.id), market.name, ", ".join(market.answers_to), market.note]


def evidence_rows() -> Iterator[list[str]]:
    """How many figures of each room carry each mark."""
    import csv

    from wareleaf.measure.pedigree import Evidence

    counts: dict[str, dict[str, int]] = {}
    for path in sorted(SOURCE.glob("*/data/*.csv")):
        lines = [x for x in path.read_text("utf-8").splitlines() if not x.startswith("#")]
        for row in csv.DictReader(lines):
            if row.get("evidence"):
                room = counts.setdefault(path.parent.parent.name, {})
                room[row["evidence"]] = room.get(row["evidence"], 0) + 1
    for room, of in counts.items():
        marks = (str(of.get(mark.value, 0)) for mark in Evidence)
        yield [code(room), *marks, str(sum(of.values()))]
