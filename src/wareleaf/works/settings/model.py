"""What a works says of itself: the whole settings file.

References between tables (an equipment's site, a product's film) are checked when the whole file is
read.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Self, TypeVar
from zoneinfo import ZoneInfo

from pydantic import Field, model_validator

from wareleaf.measure.errors import BadInput
from wareleaf.works.settings.goods import Costs, Customer, Film, Product
from wareleaf.works.settings.laboratory import Laboratory, UsualLeaf
from wareleaf.works.settings.losses import LossConstants
from wareleaf.works.settings.machines import QUANTITY_WORDS, Equipment, Meter
from wareleaf.works.settings.places import Crew, Firm, Person, Room, Site, SourcePlace
from wareleaf.works.settings.table import Table

Row = TypeVar("Row", Site, SourcePlace, Equipment, Room, Meter, Film, Product, Customer, Person)


class WorksSettings(Table):
    """The whole file."""

    firm: Firm
    site: list[Site] = Field(min_length=1)
    source: list[SourcePlace] = Field([])
    equipment: list[Equipment] = Field([])
    room: list[Room] = Field([])
    meter: list[Meter] = Field([])
    crew: list[Crew] = Field([])
    film: list[Film] = Field([])
    product: list[Product] = Field([])
    customer: list[Customer] = Field([])
    person: list[Person] = Field(min_length=1)
    loss: list[LossConstants] = Field([])
    costs: Costs
    laboratory: Laboratory = Laboratory()
    usual_leaf: list[UsualLeaf] = Field([])

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

    def meter_at(self, site_id: str, meter_id: str, quantity: str, field: str = "meter") -> Meter:
        """A meter by id that is of a site and measures a quantity.

        Raises
        ------
        BadInput
            When there is no such meter, it measures something else, or it is of another site: how
            far it is off would be booked wrong, and its drift looked for where it never was.
        """
        meter = self.meter_of(meter_id)
        if (meter.site, meter.quantity) == (site_id, quantity):
            return meter
        why = f"is of {self.site_of(meter.site).name}"
        if meter.quantity != quantity:
            why = f"measures {QUANTITY_WORDS[meter.quantity]}"
        fit = [m.id for m in self.meter if (m.site, m.quantity) == (site_id, quantity)]
        raise BadInput(
            field,
            meter_id,
            f"{meter.name} {why}; for {QUANTITY_WORDS[quantity]} at {self.site_of(site_id).name} "
            f"there are: {', '.join(fit) or 'none in the settings'}.",
        )

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
