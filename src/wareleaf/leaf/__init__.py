"""Leaf: sorption, drying kinetics, heat, limits and patience of each kind of leaf, with sources."""

from wareleaf.leaf.catalogue import profile, profile_ids, with_figures
from wareleaf.leaf.kinetics import (
    rate_constant_per_h,
    rate_constant_relative_sd,
    slab_rate_constant_per_h,
)
from wareleaf.leaf.models import MODELS, check_parameters, parameters_from_percent
from wareleaf.leaf.pedigree import (
    evidence_sentence,
    model_source,
    salt_sources,
    sorption_figures,
    sorption_sources,
    source_of,
)
from wareleaf.leaf.profiles import LeafProfile, build
from wareleaf.leaf.sorption import (
    WATER_ACTIVITY_TOP,
    equilibrium_moisture_db,
    isosteric_heat_of_model_j_kg,
    moisture_of_model_db,
    net_isosteric_heat_j_kg,
    range_warnings,
    water_activity,
    water_activity_of_model,
)
from wareleaf.leaf.thermal import specific_heat_j_kg_k

__all__ = [
    "MODELS",
    "WATER_ACTIVITY_TOP",
    "LeafProfile",
    "build",
    "check_parameters",
    "equilibrium_moisture_db",
    "evidence_sentence",
    "isosteric_heat_of_model_j_kg",
    "model_source",
    "moisture_of_model_db",
    "net_isosteric_heat_j_kg",
    "parameters_from_percent",
    "profile",
    "profile_ids",
    "range_warnings",
    "rate_constant_per_h",
    "rate_constant_relative_sd",
    "salt_sources",
    "slab_rate_constant_per_h",
    "sorption_figures",
    "sorption_sources",
    "source_of",
    "specific_heat_j_kg_k",
    "water_activity",
    "water_activity_of_model",
    "with_figures",
]
