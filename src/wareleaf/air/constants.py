"""The constants of humid air that all rooms share (values and sources: ``data/constants.csv``)."""

from __future__ import annotations

from wareleaf.measure import read_figures

_FIGURES = {f.quantity: f.value for f in read_figures("wareleaf.air", "constants")}

CP_DRY_AIR_J_KG_K = _FIGURES["cp_dry_air_j_kg_k"]
CP_VAPOUR_J_KG_K = _FIGURES["cp_vapour_j_kg_k"]
LATENT_HEAT_0C_J_KG = _FIGURES["latent_heat_0c_j_kg"]
CP_WATER_J_KG_K = _FIGURES["cp_water_j_kg_k"]
CP_ICE_J_KG_K = _FIGURES["cp_ice_j_kg_k"]
HEAT_OF_FUSION_J_KG = _FIGURES["heat_of_fusion_j_kg"]
GAS_CONSTANT_DRY_AIR_J_KG_K = _FIGURES["gas_constant_dry_air_j_kg_k"]
GAS_CONSTANT_VAPOUR_J_KG_K = _FIGURES["gas_constant_vapour_j_kg_k"]
MOLAR_MASS_RATIO = _FIGURES["molar_mass_ratio"]

STANDARD_PRESSURE_PA = 101325.0
ZERO_C_K = 273.15

# What the functions accept. The works' range is -20 to 150 degC; the wider one lets dew points of
# dry winter air and a solver's trial step through.
TEMPERATURE_MIN_C = -100.0
TEMPERATURE_MAX_C = 200.0
PRESSURE_MIN_PA = 20_000.0
PRESSURE_MAX_PA = 200_000.0
