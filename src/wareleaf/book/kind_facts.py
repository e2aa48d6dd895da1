"""The facts of the kinds around the making: the growing site, cooling, grades, pallets, returns."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from wareleaf.book.event import JSON
from wareleaf.book.identifiers.check_digit import has_good_check_digit
from wareleaf.measure.errors import BadInput, require

MORE_FACTS: Mapping[str, Mapping[str, str]] = {
    "site_work": {"source": "text", "work": "text"},
    "harvest": {
        "source": "text",
        "harvest_id": "text",
        "cut_at": "text",
        "estimated_kg": "number of 0 or more",
    },
    "cooling": {"lots": "list", "method": "text", "temperature_c": "number", "from": "text"},
    "grade": {"lot_id": "text", "grade": "text", "by": "text"},
    "aggregate": {"sscc": "text", "lots": "list"},
    "disaggregate": {"sscc": "text", "lots": "list"},
    "receive_back": {"customer": "text", "because": "text"},
    "rework": {"because": "text"},
    "destroy": {"method": "text", "witness": "text"},
}
"""What each kind needs. Why a thing was done is ``because``: ``reason`` is a correction's own."""

COOLING_METHODS = ("ice", "chilled sea water", "cold room")
GRADED_BY = ("taste", "hand", "sieve")
COLDEST_C, WARMEST_C = -40.0, 25.0
"""Of a cooling; outside of it a number was typed wrong (our own choice)."""

LISTS = ("cooling",)
"""Kinds whose ``lots`` are lot ids, beside ``stage_started``."""

ITEM_LISTS = ("aggregate", "disaggregate")
"""Kinds whose ``lots`` are tables of ``lot_id``, ``mass_g`` and perhaps ``packs``."""

NEEDS_PAPER = ("destroy",)
"""Kinds that rest on a document."""


def check_more(kind: str, facts: Mapping[str, JSON]) -> None:
    """Refuse facts of the kinds of this room that cannot be.

    Raises
    ------
    BadInput
        Naming the fact and what would be accepted.
    """
    if kind == "site_work":
        _check_site_work(facts)
    elif kind == "harvest":
        _moment("cut_at", facts["cut_at"])
        _texts("people", facts.get("people", ()))
        _optional_text("vessel", facts.get("vessel", ""))
    elif kind == "cooling":
        _check_cooling(facts)
    elif kind == "grade":
        _one_of("by", facts["by"], GRADED_BY)
    elif kind in ITEM_LISTS:
        _check_pallet(facts)
    elif kind == "ship":
        for sscc in _texts("pallets", facts.get("pallets", ())):
            check_sscc(sscc, "facts.pallets")


def check_sscc(sscc: str, field: str = "sscc") -> None:
    """Refuse a pallet number that is none: 18 digits with the check digit of GS1.

    Raises
    ------
    BadInput
        With one sentence.
    """
    name = "The pallet number" if field == "sscc" else field
    require(
        len(sscc) == 18 and has_good_check_digit(sscc),
        field,
        sscc,
        f"{name} is {sscc!r}; a pallet number (SSCC) has 18 digits with a right check digit.",
    )


def _check_site_work(facts: Mapping[str, JSON]) -> None:
    for name in ("substance", "dose"):
        _optional_text(name, facts.get(name, ""))
    days = facts.get("interval_days")
    require(
        days is not None or not facts.get("substance"),
        "facts.interval_days",
        None,
        "A treatment with a substance needs its waiting interval; give facts.interval_days, "
        "0 where there is none.",
    )
    good = isinstance(days, (int, float)) and not isinstance(days, bool) and 0 <= days <= 3660
    require(
        days is None or good,
        "facts.interval_days",
        days,
        f"facts.interval_days is {days!r}; it must be days from 0 to 3660.",
    )


def _check_cooling(facts: Mapping[str, JSON]) -> None:
    lots = _texts("lots", facts["lots"])
    require(
        bool(lots or facts.get("harvest_id")),
        "facts.lots",
        [],
        "A cooling names neither a lot nor a harvest; give facts.lots or facts.harvest_id.",
    )
    _optional_text("harvest_id", facts.get("harvest_id", ""))
    _one_of("method", facts["method"], COOLING_METHODS)
    at_c = facts["temperature_c"]
    require(
        COLDEST_C <= at_c <= WARMEST_C,
        "facts.temperature_c",
        at_c,
        f"facts.temperature_c is {at_c:g}; leaf is cooled at {COLDEST_C:g} to {WARMEST_C:g} degC.",
    )
    began = _moment("from", facts["from"])
    if facts.get("until"):
        ended = _moment("until", facts["until"])
        require(
            ended >= began,
            "facts.until",
            facts["until"],
            f"facts.until is {facts['until']}, before the cooling began at {facts['from']}.",
        )


def _check_pallet(facts: Mapping[str, JSON]) -> None:
    check_sscc(facts["sscc"], "facts.sscc")
    require(
        bool(facts["lots"]), "facts.lots", [], "A pallet entry names no lot; name at least one."
    )
    for item in facts["lots"]:
        good = isinstance(item, Mapping) and isinstance(item.get("lot_id"), str) and item["lot_id"]
        good = good and _whole(item.get("mass_g")) and _whole(item.get("packs", 1))
        require(
            bool(good),
            "facts.lots",
            item,
            f"facts.lots has {item!r}; each needs a lot_id, a mass_g above 0 and, if said, packs "
            "above 0, in whole numbers.",
        )


def _whole(value: JSON) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value > 0


def _moment(name: str, value: JSON) -> datetime:
    try:
        found = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        found = None
    if found is None or found.tzinfo is None:
        raise BadInput(
            f"facts.{name}",
            value,
            f"facts.{name} is {value!r}; give a time with its offset, like 2026-04-12T06:30+02:00.",
        )
    return found


def _one_of(name: str, value: JSON, choices: tuple[str, ...]) -> None:
    require(
        value in choices,
        f"facts.{name}",
        value,
        f"facts.{name} is {value!r}; it must be one of {', '.join(choices)}.",
    )


def _optional_text(name: str, value: JSON) -> None:
    require(
        isinstance(value, str), f"facts.{name}", value, f"facts.{name} is {value!r}; give a text."
    )


def _texts(name: str, value: JSON) -> tuple[str, ...]:
    good = isinstance(value, (list, tuple))
    good = good and all(isinstance(x, str) and x.strip() for x in value)
    require(good, f"facts.{name}", value, f"facts.{name} is {value!r}; it must be a list of texts.")
    return tuple(value)
