"""Who works here, the works' settings in the book, and readable ids."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa

from wareleaf.book import canonical
from wareleaf.measure.errors import BadInput, require
from wareleaf.store import rows, schema
from wareleaf.store.troubles import readable

ROLES = ("manager", "intake", "operator", "lab", "quality_manager", "packer", "auditor")


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who may record events; the PIN is kept only as a hash made by the caller."""

    person_id: str
    name: str
    role: str
    pin_hash: str = ""
    active: bool = True


def get_person(row: Any) -> Person:
    return Person(row["person_id"], row["name"], row["role"], row["pin_hash"], bool(row["active"]))


def put_person(connection: sa.Connection, person: Person) -> None:
    require(
        person.role in ROLES,
        "role",
        person.role,
        f"role is {person.role!r}; it must be one of {', '.join(ROLES)}.",
    )
    for name, value in (("person_id", person.person_id), ("name", person.name)):
        require(bool(value.strip()), name, value, f"{name} is empty; give one.")
    row = {
        "person_id": person.person_id,
        "name": person.name,
        "role": person.role,
        "pin_hash": person.pin_hash,
        "active": int(person.active),
    }
    rows.upsert(connection, schema.person, [row])


def get_setting(connection: sa.Connection, key: str, default: Any) -> Any:
    query = sa.select(schema.setting.c.value).where(schema.setting.c.key == key)
    text = connection.execute(query).scalar()
    if text is None:
        return default
    with readable(f"the setting {key}"):
        return json.loads(text)


def put_setting(connection: sa.Connection, key: str, value: Any) -> None:
    row = {"key": key, "value": canonical(value).decode()}
    rows.upsert(connection, schema.setting, [row])


def next_id(connection: sa.Connection, prefix: str, day: date) -> str:
    """The next id such as ``K6-1204-03``: prefix and last digit of the year, day and month, count.

    Short enough to be read out over a noisy floor. After ten years the count goes on where it
    stood, so an id never comes twice in a book.
    """
    if not prefix or not prefix.replace("-", "").isalnum():
        raise BadInput(
            "prefix", prefix, f"prefix is {prefix!r}; it must be letters and digits, like K."
        )
    key = f"{prefix}{day.year % 10}-{day:%d%m}"
    query = sa.select(schema.counter.c.last).where(schema.counter.c.key == key)
    last = connection.execute(query).scalar() or 0
    while True:
        last += 1
        name = f"{key}-{last:02d}"
        known = sa.select(schema.lot.c.lot_id).where(schema.lot.c.lot_id == name)
        if connection.execute(known).first() is None:
            break
    rows.upsert(connection, schema.counter, [{"key": key, "last": last}])
    return name
