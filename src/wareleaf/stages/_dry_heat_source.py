"""Where a dryer's heat comes from: exchanger, steam, flame in the air, or heat pump.

An exchanger only gives heat. A flame in the air adds the water it forms to the fresh air, so the
leaf meets damper air. A heat pump takes heat from the return air in an evaporator, where water
condenses, and gives it back, with the work of the compressor, in the condenser:

    COP = f Tc / (Tc - Te)      Qc = Qe + P = COP P

Tc and Te in K: a pinch above the hottest air wanted and below the air behind the evaporator; f the
part of Carnot's figure that a real machine reaches. Without an evaporator in the return duct the
pump draws on ambient air.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.stages._dry_cell import air_dry_bulb, air_enthalpy
from wareleaf.stages._dry_figures import net_heating_value_mj_kg, number
from wareleaf.stages.common import Array

if TYPE_CHECKING:
    from wareleaf.stages._dry_spec import Heater, Zone
    from wareleaf.stages._dry_tables import Tables

_KELVIN = 273.15
_COP_MOST = 12.0  # a smaller lift than this needs no compressor that is sold


@dataclass(frozen=True)
class ZoneHeat:
    """What one zone asks of the heat source, kWh and degC for the lot."""

    heat_kwh: float
    cooling_kwh: float
    inlet_c: float
    coil_c: float | None


@dataclass(frozen=True)
class HeatSupply:
    """How the heat of a lot was made.

    Parameters
    ----------
    kind : str
        Of the heater.
    heat_kwh : float
        Put into the air, casing losses included.
    fuel_kg, steam_kg : float
        Burned, and condensed in the exchanger; 0 where there is none.
    compressor_kwh, electric_kwh : float
        Electricity of a heat pump's compressor, and of a resistance heater that fills up.
    pumped_kwh, rejected_kwh : float
        Heat from the condenser, and what of it is not wanted and must go outside.
    cop : float
        Heat from the condenser per compressor work; 0 without a heat pump.
    combustion_water_kg : float
        Vapour that a flame added to the air.
    combustion_co2_kg : float
        Carbon dioxide of the fuel: over the leaf and out with the exhaust where the flame is in the
        air, else up the chimney.
    """

    kind: str
    heat_kwh: float
    fuel_kg: float = 0.0
    steam_kg: float = 0.0
    compressor_kwh: float = 0.0
    electric_kwh: float = 0.0
    pumped_kwh: float = 0.0
    rejected_kwh: float = 0.0
    cop: float = 0.0
    combustion_water_kg: float = 0.0
    combustion_co2_kg: float = 0.0

    @property
    def electricity_kwh(self) -> float:
        """Electricity for heat."""
        return self.compressor_kwh + self.electric_kwh

    @property
    def bought_kwh(self) -> float:
        """Heat and electricity that the works pays for: not what a heat pump lifts."""
        return self.heat_kwh - (self.pumped_kwh - self.rejected_kwh) + self.compressor_kwh


def after_coil(
    zone: Zone, props: Tables, ratio: Array, enthalpy: Array
) -> tuple[Array, Array, Array, Array]:
    """Return air behind the evaporator.

    Parameters
    ----------
    zone : Zone
        Its evaporator, if it has one.
    props : Tables
        Properties of air.
    ratio, enthalpy : ndarray
        Of the exhaust, kg/kg and J/kg dry air.

    Returns
    -------
    tuple of ndarray
        Humidity ratio and enthalpy behind it, heat taken (J per kg of return air) and water
        condensed (kg/kg); nothing is taken from air that is already colder than the coil.
    """
    none = np.zeros_like(ratio)
    if zone.coil_c is None:
        return ratio, enthalpy, none, none
    cooled = np.minimum(air_dry_bulb(enthalpy, ratio), zone.coil_c)
    held = np.minimum(ratio, props.saturated_ratio(cooled))
    condensed = zone.coil_share * (ratio - held)
    behind = zone.coil_share * air_enthalpy(cooled, held) + (1.0 - zone.coil_share) * enthalpy
    taken = enthalpy - behind - condensed * CP_WATER_J_KG_K * cooled
    return ratio - condensed, behind, taken, condensed


def flame_water_kg_j(heater: Heater) -> float:
    """Vapour of a direct flame per joule that the air takes up, kg/J."""
    if heater.kind != "direct" or heater.fuel is None:
        return 0.0
    per_j = number(f"{heater.fuel}.water_formed_kg_kg") / net_heating_value_mj_kg(heater.fuel) / 1e6
    return per_j / heater.efficiency / (1.0 - heater.loss_fraction)


def heating_cop(heater: Heater, condenser_air_c: float, evaporator_air_c: float) -> float:
    """Coefficient of performance for heat.

    Parameters
    ----------
    heater : Heater
        Its part of Carnot and its pinch.
    condenser_air_c, evaporator_air_c : float
        Air that leaves the condenser and the evaporator, degC.
    """
    hot = condenser_air_c + heater.pinch_k + _KELVIN
    cold = evaporator_air_c - heater.pinch_k + _KELVIN
    lift = max(hot - cold, 1e-6)
    return max(min(heater.carnot_fraction * hot / lift, _COP_MOST), 1.001)


def supply(heater: Heater, zones: tuple[ZoneHeat, ...], ambient_c: float) -> HeatSupply:
    """How the heat of all zones is made.

    Parameters
    ----------
    heater : Heater
        The source.
    zones : tuple of ZoneHeat
        What each zone asks.
    ambient_c : float
        Source of a heat pump without an evaporator in the dryer.
    """
    need = sum(max(z.heat_kwh, 0.0) for z in zones) / (1.0 - heater.loss_fraction)
    if heater.kind == "heat_pump":
        return _pumped(heater, zones, need, ambient_c)
    fuel = _fuel_kg(heater, need)
    return HeatSupply(
        kind=heater.kind,
        heat_kwh=need,
        fuel_kg=fuel,
        steam_kg=3.6 * need / number("steam.latent_mj_kg") if heater.kind == "steam" else 0.0,
        combustion_water_kg=3.6e6 * need * (1.0 - heater.loss_fraction) * flame_water_kg_j(heater),
        combustion_co2_kg=_co2_kg(heater, fuel),
    )


def _fuel_kg(heater: Heater, heat_kwh: float) -> float:
    if heater.fuel is None:
        return 0.0
    return 3.6 * heat_kwh / heater.efficiency / net_heating_value_mj_kg(heater.fuel)


def _co2_kg(heater: Heater, fuel_kg: float) -> float:
    if heater.fuel is None:
        return 0.0
    return fuel_kg * number(f"{heater.fuel}.co2_formed_kg_kg")


def _pumped(
    heater: Heater, zones: tuple[ZoneHeat, ...], need: float, ambient_c: float
) -> HeatSupply:
    heated = [z for z in zones if z.heat_kwh > 0.0 or z.cooling_kwh > 0.0]
    if not heated:
        return HeatSupply("heat_pump", need)
    hottest = max(z.inlet_c for z in heated)
    coils = [z.coil_c for z in heated if z.coil_c is not None and z.cooling_kwh > 0.0]
    cop = heating_cop(heater, hottest, min(coils, default=ambient_c - heater.pinch_k))
    work = sum(z.cooling_kwh for z in heated) / (cop - 1.0) if coils else need / cop
    pumped = cop * work
    short = max(need - pumped, 0.0)
    fuel = _fuel_kg(heater, short)
    return HeatSupply(
        kind="heat_pump",
        heat_kwh=need,
        fuel_kg=fuel,
        combustion_co2_kg=_co2_kg(heater, fuel),
        compressor_kwh=work,
        electric_kwh=short if heater.fuel is None else 0.0,
        pumped_kwh=pumped,
        rejected_kwh=max(pumped - need, 0.0),
        cop=cop,
    )
