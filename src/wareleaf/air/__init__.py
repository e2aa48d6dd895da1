"""Humid air: states from any two of the usual properties at any pressure, -20 to 150 degC.

Scalars and arrays. The enhancement factor is in; where we, CoolProp, psychrolib and the handbook
part is in docs/understand/humid-air.md.
"""

from wareleaf.air.constants import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
)
from wareleaf.air.functions import (
    dew_point_c,
    dry_bulb_from_enthalpy_c,
    enthalpy_j_kg,
    humidity_ratio,
    latent_heat_j_kg,
    relative_humidity,
    specific_volume_m3_kg,
    standard_pressure_pa,
    vapour_pressure_pa,
)
from wareleaf.air.saturation import boiling_point_c, enhancement_factor, saturation_pressure_pa
from wareleaf.air.state import AirState, air_state
from wareleaf.air.wet_bulb import humidity_ratio_from_wet_bulb, wet_bulb_c

__all__ = [
    "CP_DRY_AIR_J_KG_K",
    "CP_VAPOUR_J_KG_K",
    "CP_WATER_J_KG_K",
    "LATENT_HEAT_0C_J_KG",
    "AirState",
    "air_state",
    "boiling_point_c",
    "dew_point_c",
    "dry_bulb_from_enthalpy_c",
    "enhancement_factor",
    "enthalpy_j_kg",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "latent_heat_j_kg",
    "relative_humidity",
    "saturation_pressure_pa",
    "specific_volume_m3_kg",
    "standard_pressure_pa",
    "vapour_pressure_pa",
    "wet_bulb_c",
]
