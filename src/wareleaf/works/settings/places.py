"""Where a works is and who works there: firm, sites, lines and fields, rooms, crews, people."""

from __future__ import annotations

from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator

from wareleaf.works.settings.table import Table

Role = Literal["manager", "intake", "operator", "lab", "quality_manager", "packer", "auditor"]


class Firm(Table):
    """Who runs the works, and on which clock its days are counted."""

    name: str = Field(min_length=1)
    time_zone: str
    currency: str = Field("EUR", pattern=r"^[A-Z]{3}$")

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise ValueError(f"{name!r} is not a known time zone, like Europe/Lisbon") from error
        return name


class Site(Table):
    """One works of the firm.

    ``weather`` is the path of an hourly EPW or TMY3 file (from the works' folder), or
    ``shipped:NAME`` for a station file that comes with the installation.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    name: str = Field(min_length=1)
    letter: str = Field(pattern=r"^[A-Z]$", description="First letter of this site's lot numbers.")
    crop: Literal["kelp", "tea"]
    weather: str
    address: str = ""
    phone: str = ""
    day_starts_h: float = Field(5.0, ge=0.0, lt=24.0)
    day_ends_h: float = Field(22.0, gt=0.0, le=24.0)


class SourcePlace(Table):
    """A line at sea or a field on land: where each gram comes from."""

    id: str
    site: str
    name: str
    leaf: str
    grower: str = ""
    phone: str = ""
    address: str = ""
    haul_h: float = Field(0.5, ge=0.0, le=48.0, description="Usual hours from cut to door.")


class Room(Table):
    """A bin or silo in which leaf lies loose, and how it mixes there.

    See docs/understand/mixing.md for the rules.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    site: str
    name: str
    rule: Literal["in_order", "mixed", "tanks"] = "mixed"
    tanks: int = Field(1, ge=1, le=50, description="Equal mixed parts in a row, for tanks.")
    cut: float = Field(
        0.001, ge=0.0, le=0.05, description="Share of the content below which a lot counts as out."
    )
    capacity_kg: float | None = Field(None, gt=0.0)


class Crew(Table):
    """People on shift at a site, by skill."""

    site: str
    skill: str
    people: int = Field(ge=0)
    from_h: float = Field(ge=0.0, le=24.0)
    until_h: float = Field(ge=0.0, le=30.0)


class Person(Table):
    """Someone who may record in the book."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    name: str
    roles: list[Role] = Field(min_length=1)
    sites: list[str] = Field([])
