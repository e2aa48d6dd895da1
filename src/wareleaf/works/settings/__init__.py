"""Settings of a works: one readable TOML file, checked line by line before anything uses it."""

from wareleaf.works.settings.goods import Costs, Customer, Film, Product
from wareleaf.works.settings.machines import PERCENT, Equipment, Meter
from wareleaf.works.settings.model import WorksSettings
from wareleaf.works.settings.places import Crew, Firm, Person, Room, Site, SourcePlace
from wareleaf.works.settings.read import parse_settings, read_settings

__all__ = [
    "PERCENT",
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
