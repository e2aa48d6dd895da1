"""What a works says of itself: sites, equipment, meters, people, products, costs and markets.

Every model is frozen and refuses unknown keys, so that a misspelt setting is an error and not a
silent default. References between tables (an equipment's site, a product's film) are checked when
the whole file is read.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Any, Literal, Self, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from wareleaf.measure.errors import BadInput
from wareleaf.works.settings.laboratory import Laboratory, UsualLeaf
from wareleaf.works.settings.losses import LossConstants

Stage = Literal["wash", "blanch", "wither", "roll", "oxidise", "dry", "sift", "mill", "pack"]
EquipmentKind = Literal[
    "wash_tank",
    "blanch_bath",
    "wither_trough",
    "roller",
    "oxidation_floor",
    "belt_dryer",
    "fluid_bed",
    "sifter",
    "mill",
    "packing_bench",
]
Role = Literal["manager", "intake", "operator", "lab", "quality_manager", "packer", "auditor"]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Firm(_Table):
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


class Site(_Table):
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


class SourcePlace(_Table):
    """A line at sea or a field on land: where each gram comes from."""

    id: str
    site: str
    name: str
    leaf: str
    grower: str = ""
    phone: str = ""
    address: str = ""
    haul_h: float = Field(0.5, ge=0.0, le=48.0, description="Usual hours from cut to door.")


class Equipment(_Table):
    """One machine, with the numbers the stage models and the plan need.

    ``settings`` holds the fields of the stage's spec (see docs/look-up/equipment.md); ``defaults``
    the settings an operator starts from.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    site: str
    name: str
    stage: Stage
    kind: EquipmentKind
    capacity_kg: float | None = Field(None, gt=0.0, description="Batch capacity, kg of leaf.")
    rate_kg_h: float | None = Field(None, gt=0.0, description="Feed rate, kg of leaf an hour.")
    crew_needed: int = Field(1, ge=0)
    warm_up_h: float = Field(0.0, ge=0.0)
    clean_h: float = Field(0.0, ge=0.0, description="Cleaning between two kinds of leaf.")
    settings: dict[str, Any] = {}
    defaults: dict[str, float] = {}


class Room(_Table):
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


class Meter(_Table):
    """An instrument and how far it can be trusted (one standard deviation)."""

    id: str
    site: str
    name: str
    quantity: Literal["mass_kg", "moisture_wb", "temperature_c", "relative_humidity", "net_g"]
    standard_uncertainty: float = Field(ge=0.0, description="In the unit of the quantity.")
    relative_uncertainty: float = Field(0.0, ge=0.0, lt=0.5, description="Added in quadrature.")
    method: str = ""

    def sd(self, value: float) -> float:
        """Standard uncertainty of a reading, in the unit of the quantity."""
        return float(
            (self.standard_uncertainty**2 + (self.relative_uncertainty * value) ** 2) ** 0.5
        )


class Crew(_Table):
    """People on shift at a site, by skill."""

    site: str
    skill: str
    people: int = Field(ge=0)
    from_h: float = Field(ge=0.0, le=24.0)
    until_h: float = Field(ge=0.0, le=30.0)


class Film(_Table):
    """A packing film; permeance is given as the test was run."""

    id: str
    name: str
    wvtr_g_m2_day: float = Field(gt=0.0)
    wvtr_temperature_c: float = 38.0
    wvtr_relative_humidity_difference: float = Field(0.9, gt=0.0, le=1.0)
    cost_per_m2: float = Field(0.0, ge=0.0)
    evidence: str = "practice"


class Product(_Table):
    """What is sold: from which leaf, in which form and pack, with the buyer's own limits."""

    id: str
    site: str
    name: str
    leaf: str
    form: str
    route: list[Stage]
    tags: list[str] = Field([], description="What limits care for: ready_to_eat, supplement...")
    nominal_g: float = Field(gt=0.0)
    film: str
    pack_area_m2: float = Field(gt=0.0)
    price_per_kg: float = Field(ge=0.0)
    moisture_wb_max: float = Field(gt=0.0, lt=1.0)
    best_before_days: int = Field(365, gt=0)


class Customer(_Table):
    """A buyer, the market whose limits apply, and whom to ring in a recall."""

    id: str
    name: str
    market: str
    contact: str = ""
    phone: str = ""
    mail: str = ""
    address: str = ""


class Person(_Table):
    """Someone who may record in the book."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    name: str
    roles: list[Role] = Field(min_length=1)
    sites: list[str] = []


class Costs(_Table):
    """Prices the plan and the accounts use."""

    leaf_per_kg: dict[str, float]
    labour_per_h: float = Field(ge=0.0)
    electricity_per_kwh: float = Field(ge=0.0)
    fuel_per_kg: float = Field(ge=0.0)
    fuel: str = "lpg"
    divert_per_kg: float = Field(0.05, ge=0.0, description="Loss when leaf goes to a lesser use.")
    refuse_per_kg: float = Field(0.30, ge=0.0, description="Loss when leaf is turned away.")


Row = TypeVar("Row", Site, SourcePlace, Equipment, Room, Meter, Film, Product, Customer, Person)


class WorksSettings(_Table):
    """The whole file."""

    firm: Firm
    site: list[Site] = Field(min_length=1)
    source: list[SourcePlace] = []
    equipment: list[Equipment] = []
    room: list[Room] = []
    meter: list[Meter] = []
    crew: list[Crew] = []
    film: list[Film] = []
    product: list[Product] = []
    customer: list[Customer] = []
    person: list[Person] = Field(min_length=1)
    loss: list[LossConstants] = []
    costs: Costs
    laboratory: Laboratory = Laboratory()
    usual_leaf: list[UsualLeaf] = []

    @model_validator(mode="after")
    def _references_exist(self) -> Self:
        sites = {s.id for s in self.site}
        films = {f.id for f in self.film}
        for table in ("source", "equipment", "room", "meter", "crew", "product"):
            for at, row in enumerate(getattr(self, table)):
                if row.site not in sites:
                    raise ValueError(
                        f"@{table}.{at}.site@{row.site!r} is not a site; "
                        f"there are: {', '.join(sorted(sites))}"
                    )
        for at, product in enumerate(self.product):
            if product.film not in films:
                raise ValueError(
                    f"@product.{at}.film@{product.film!r} is not a film; "
                    f"there are: {', '.join(sorted(films)) or 'none'}"
                )
        self._no_twins()
        return self

    def _no_twins(self) -> None:
        for table in (
            "site",
            "source",
            "equipment",
            "room",
            "meter",
            "film",
            "product",
            "customer",
            "person",
        ):
            seen: set[str] = set()
            for at, row in enumerate(getattr(self, table)):
                if row.id in seen:
                    raise ValueError(f"@{table}.{at}.id@{row.id!r} is used twice in [[{table}]]")
                seen.add(row.id)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The works' own clock."""
        return ZoneInfo(self.firm.time_zone)

    def site_of(self, site_id: str) -> Site:
        """A site by id."""
        return _find(self.site, "site", site_id)

    def source_of(self, source_id: str) -> SourcePlace:
        """A line or field by id."""
        return _find(self.source, "source", source_id)

    def equipment_of(self, equipment_id: str) -> Equipment:
        """A machine by id."""
        return _find(self.equipment, "equipment", equipment_id)

    def room_of(self, room_id: str) -> Room:
        """A bin or silo by id."""
        return _find(self.room, "room", room_id)

    def meter_of(self, meter_id: str) -> Meter:
        """A meter by id."""
        return _find(self.meter, "meter", meter_id)

    def film_of(self, film_id: str) -> Film:
        """A film by id."""
        return _find(self.film, "film", film_id)

    def product_of(self, product_id: str) -> Product:
        """A product by id."""
        return _find(self.product, "product", product_id)

    def customer_of(self, customer_id: str) -> Customer:
        """A customer by id."""
        return _find(self.customer, "customer", customer_id)

    def person_of(self, person_id: str) -> Person:
        """A person by id."""
        return _find(self.person, "person", person_id)


def _find(rows: Iterable[Row], table: str, wanted: str) -> Row:
    known = []
    for row in rows:
        if row.id == wanted:
            return row
        known.append(row.id)
    raise BadInput(table, wanted, f"There is no {table} {wanted!r}; there are: {', '.join(known)}.")
