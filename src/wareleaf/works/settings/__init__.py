"""Settings of a works: one readable TOML file, checked line by line before anything uses it."""

from wareleaf.works.settings.model import (
    Costs,
    Crew,
    Customer,
    Equipment,
    Film,
    Firm,
    Meter,
    Person,
    Product,
    Room,
    Site,
    SourcePlace,
    WorksSettings,
)
from wareleaf.works.settings.read import parse_settings, read_settings

__all__ = [
    "Costs",
    "Crew",
    "Customer",
    "Equipment",
    "Film",
    "Firm",
    "Meter",
    "Person",
    "Product",
    "Room",
    "Site",
    "SourcePlace",
    "WorksSettings",
    "parse_settings",
    "read_settings",
]
