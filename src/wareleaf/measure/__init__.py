"""Measures: moisture bases, readings with uncertainty, units at the edge, errors and evidence."""

from wareleaf.measure.basis import (
    dry_matter_kg,
    mass_at_moisture_kg,
    moisture_db_from_wb,
    moisture_wb_from_db,
    water_kg,
)
from wareleaf.measure.errors import BadInput, Problem, require
from wareleaf.measure.pedigree import Evidence, Figure, Source, read_figures, read_sources
from wareleaf.measure.reading import Reading

__all__ = [
    "BadInput",
    "Evidence",
    "Figure",
    "Problem",
    "Reading",
    "Source",
    "dry_matter_kg",
    "mass_at_moisture_kg",
    "moisture_db_from_wb",
    "moisture_wb_from_db",
    "read_figures",
    "read_sources",
    "require",
    "water_kg",
]
