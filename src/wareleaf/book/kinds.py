"""The kinds of event, what each may move and which facts each must carry."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Real

from wareleaf.book.event import JSON, Event
from wareleaf.book.kind_facts import ITEM_LISTS, LISTS, MORE_FACTS, check_more
from wareleaf.measure.errors import BadInput, require

FORMS = (
    "fresh",
    "washed",
    "blanched",
    "withered",
    "rolled",
    "oxidised",
    "dried",
    "flake",
    "powder",
    "graded",
    "blended",
    "packed",
    "refuse",
)

GAINS = ("water", "added", "rounding")
"""Streams that may be negative: water taken up, something added (salt), the rounding remainder."""

ROUNDING_LIMIT_G = 100
"""A rounding stream may not hide more than this, grams (our own choice)."""


@dataclass(frozen=True, slots=True)
class Shape:
    """What a kind may move: fewest and most inputs and outputs, and whether streams are allowed."""

    inputs: tuple[int, int]
    outputs: tuple[int, int]
    streams: bool


_MANY = 100_000
_NOTHING = Shape((0, 0), (0, 0), streams=False)

SHAPES: Mapping[str, Shape] = {
    "intake": Shape((0, 0), (1, _MANY), streams=True),
    "combine": Shape((1, _MANY), (1, _MANY), streams=True),
    "split": Shape((1, 1), (1, _MANY), streams=True),
    "stage_started": _NOTHING,
    "stage_finished": Shape((1, _MANY), (0, _MANY), streams=True),
    "reading": _NOTHING,
    "sample": Shape((0, 1), (0, 0), streams=True),
    "result": _NOTHING,
    "hold": _NOTHING,
    "release": _NOTHING,
    "blend": Shape((1, _MANY), (1, _MANY), streams=True),
    "pack": Shape((1, _MANY), (1, _MANY), streams=True),
    "ship": Shape((1, _MANY), (0, 0), streams=True),
    "waste": Shape((1, _MANY), (0, 0), streams=True),
    "limit_confirmed": _NOTHING,
    "count": Shape((0, _MANY), (0, _MANY), streams=True),
    "site_work": _NOTHING,
    "harvest": _NOTHING,
    "cooling": _NOTHING,
    "grade": _NOTHING,
    "aggregate": _NOTHING,
    "disaggregate": _NOTHING,
    "receive_back": Shape((1, _MANY), (1, _MANY), streams=True),
    "rework": Shape((1, _MANY), (1, _MANY), streams=True),
    "destroy": Shape((1, _MANY), (0, 0), streams=True),
    "note": _NOTHING,
}
"""Every kind except ``correction``, which has the shape of what it corrects."""

KINDS = (*SHAPES, "correction")

MAKING = tuple(kind for kind, shape in SHAPES.items() if shape.outputs[1] > 0)
"""Kinds that may make lots."""

_TEXT, _NUMBER, _NOT_NEGATIVE, _LIST, _TABLE = (
    "text",
    "number",
    "number of 0 or more",
    "list",
    "table",
)

_FACTS: Mapping[str, Mapping[str, str]] = {
    "stage_started": {
        "run_id": _TEXT,
        "stage": _TEXT,
        "equipment": _TEXT,
        "settings": _TABLE,
        "lots": _LIST,
    },
    "stage_finished": {"run_id": _TEXT},
    "reading": {
        "quantity": _TEXT,
        "value": _NUMBER,
        "standard_uncertainty": _NOT_NEGATIVE,
        "unit": _TEXT,
    },
    "sample": {"lot_id": _TEXT, "sample_id": _TEXT},
    "result": {
        "lot_id": _TEXT,
        "sample_id": _TEXT,
        "parameter": _TEXT,
        "value": _NUMBER,
        "standard_uncertainty": _NOT_NEGATIVE,
        "unit": _TEXT,
        "basis": _TEXT,
    },
    "hold": {"lot_id": _TEXT, "reason": _TEXT},
    "release": {"lot_id": _TEXT, "markets": _LIST},
    "pack": {"film": _TEXT, "nominal_g": _NOT_NEGATIVE},
    "ship": {"customer": _TEXT, "market": _TEXT},
    **MORE_FACTS,
}
BASES = ("wet", "dry", "hydrated")


def check_facts(kind: str, facts: Mapping[str, JSON]) -> None:
    """Refuse facts that lack what the kind needs.

    Raises
    ------
    BadInput
        Naming the fact and what would be accepted.
    """
    for name, wanted in _FACTS.get(kind, {}).items():
        require(
            name in facts,
            f"facts.{name}",
            None,
            f"facts.{name} is missing; this kind of event needs it, a {wanted}.",
        )
        _check_one(f"facts.{name}", facts[name], wanted)
    if kind == "reading":
        require(
            bool(facts.get("run_id") or facts.get("lot_id")),
            "facts.lot_id",
            None,
            "A reading names neither a run nor a lot; give facts.run_id or facts.lot_id.",
        )
    if kind == "result":
        require(
            facts["basis"] in BASES,
            "facts.basis",
            facts["basis"],
            f"facts.basis is {facts['basis']!r}; it must be wet, dry or hydrated.",
        )
    check_more(kind, facts)


def _check_one(field: str, value: JSON, wanted: str) -> None:
    if wanted == _TEXT:
        good = isinstance(value, str) and bool(value.strip())
    elif wanted == _LIST:
        good = isinstance(value, (list, tuple))
    elif wanted == _TABLE:
        good = isinstance(value, Mapping)
    else:
        good = isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)
        good = good and (wanted == _NUMBER or value >= 0)
    if not good:
        raise BadInput(field, value, f"{field} is {value!r}; it must be a {wanted}.")


def lots_named(event: Event) -> tuple[str, ...]:
    """Ids of existing lots that the event speaks of: drawn from, or named in its facts."""
    names = [d.lot_id for d in event.inputs]
    named = event.facts.get("lot_id")
    if isinstance(named, str) and named:
        names.append(named)
    lots = event.facts.get("lots")
    kind = event.facts.get("kind") if event.kind == "correction" else event.kind
    if isinstance(lots, (list, tuple)):
        if event.kind == "stage_started" or kind in LISTS:
            names.extend(x for x in lots if isinstance(x, str))
        elif kind in ITEM_LISTS:
            found = (x.get("lot_id") for x in lots if isinstance(x, Mapping))
            names.extend(x for x in found if isinstance(x, str))
    return tuple(dict.fromkeys(names))


def lots_touched(event: Event) -> tuple[str, ...]:
    """Ids of all lots of the event, new ones too."""
    return tuple(dict.fromkeys((*lots_named(event), *(m.lot_id for m in event.outputs))))
