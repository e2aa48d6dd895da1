"""What a tunnel gives: the lot, its air, heat and fuel, and how the balances close."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wareleaf.air import (
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    enthalpy_j_kg,
    relative_humidity,
    specific_volume_m3_kg,
)
from wareleaf.leaf import LeafProfile
from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_figures import citations
from wareleaf.stages._dry_heat_source import HeatSupply, ZoneHeat, supply
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_tunnel_solve import Line, Solution, duty_j_kg
from wareleaf.stages._dry_tunnel_spec import TunnelDryer
from wareleaf.stages._dry_warn import heat_source, moisture
from wareleaf.stages.common import (
    JOULES_PER_KWH,
    SECONDS_PER_HOUR,
    StageResult,
    relative_closure,
)
from wareleaf.stages.quality_rules import too_hot


@dataclass(frozen=True)
class TunnelResult(StageResult):
    """Result of a tunnel; the common fields of every stage, then those of a tunnel.

    ``truck_h`` is the time between trucks, ``curve_air_c`` the air beside the leaf of
    ``curve_leaf_c``; residuals are formed from air and leaf at the two ends.
    """

    truck_h: float
    loading_kg_m2: float
    dry_air_kg: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    drained_kg: float
    heat_mj_per_kg_water: float
    supply: HeatSupply
    curve_time_h: tuple[float, ...]
    curve_moisture_wb: tuple[float, ...]
    curve_leaf_c: tuple[float, ...]
    curve_air_c: tuple[float, ...]


def build(
    tunnel: TunnelDryer, run: DryRun, solved: tuple[Line, Solution], moisture_wb_out_sd: float
) -> TunnelResult:
    """Put the result of a solved tunnel together."""
    (line, found), profile = solved, run.leaf_profile()
    hours, dry = run.lot_kg() / run.feed_kg_h, run.lot_kg() * (1.0 - run.moisture_wb)
    x = float(found.moisture[-1])
    moisture_out, water = moisture_wb_from_db(x), dry * (line.feed[0] - x)
    t_out, w_out = found.exhaust(line.counter)
    air = found.air_kg_s * SECONDS_PER_HOUR * hours
    asked = ZoneHeat(air * duty_j_kg(line, found) / JOULES_PER_KWH, 0.0, tunnel.inlet_c, None)
    made = supply(tunnel.heater, (asked,), run.ambient_c)
    volume = float(specific_volume_m3_kg(tunnel.inlet_c, found.inlet_ratio, run.pressure_pa))
    drop = tunnel.fan.duct_pa * tunnel.velocity_m_s**2
    fans = air * volume * drop / tunnel.fan.efficiency / JOULES_PER_KWH
    water_residual, energy_residual = _residuals(run, line, found, asked.heat_kwh, air)
    result = TunnelResult(
        duration_h=hours + run.residence_h,
        mass_in_kg=run.lot_kg(),
        mass_out_kg=dry / (1.0 - moisture_out),
        dry_matter_kg=dry,
        moisture_wb_out=moisture_out,
        moisture_wb_out_sd=moisture_wb_out_sd,
        water_removed_kg=water,
        heat_kwh=made.heat_kwh,
        electricity_kwh=fans + made.electricity_kwh,
        fuel_kg=made.fuel_kg,
        water_residual=water_residual,
        energy_residual=energy_residual,
        leaf_temperature_max_c=float(max(found.leaf_c.max(), line.feed[1])),
        warnings=(),
        sources=_sources(tunnel, profile.id),
        truck_h=run.residence_h / tunnel.trucks,
        loading_kg_m2=run.feed_kg_h * run.residence_h / tunnel.tray_area_m2,
        dry_air_kg=air,
        inlet_humidity_ratio=found.inlet_ratio,
        exhaust_c=t_out,
        exhaust_humidity_ratio=w_out,
        exhaust_relative_humidity=float(relative_humidity(t_out, w_out, run.pressure_pa)),
        drained_kg=air * found.drained,
        heat_mj_per_kg_water=3.6 * made.heat_kwh / water if water > 0.0 else 0.0,
        supply=made,
        curve_time_h=tuple(run.residence_h * i / line.cells for i in range(line.cells + 1)),
        curve_moisture_wb=tuple(
            float(moisture_wb_from_db(v)) for v in (line.feed[0], *found.moisture)
        ),
        curve_leaf_c=(line.feed[1], *(float(c) for c in found.leaf_c)),
        curve_air_c=_air_beside(tunnel, found),
    )
    return replace(result, warnings=_warnings(tunnel, profile, result))


def _residuals(
    run: DryRun, line: Line, found: Solution, heat_kwh: float, air_kg: float
) -> tuple[float, float]:
    """Feed, fresh air and flame in, product and exhaust out; by water and by energy."""
    dry, props = run.lot_kg() * (1.0 - run.moisture_wb), line.tables
    t_out, w_out = found.exhaust(line.counter)
    fresh, drained = air_kg * (1.0 - line.recirculated), air_kg * found.drained
    flame = fresh * line.added_ratio
    gained = fresh * (w_out - line.ambient_ratio) + drained
    given = dry * (line.feed[0] - float(found.moisture[-1])) + flame
    taken = fresh * float(
        enthalpy_j_kg(t_out, w_out) - enthalpy_j_kg(line.ambient_c, line.ambient_ratio)
    )
    taken += drained * CP_WATER_J_KG_K * line.inlet_c
    start = dry * float(props.leaf_heat(*(np.array(v) for v in line.feed)))
    end = dry * float(props.leaf_heat(found.moisture[-1:], found.leaf_c[-1:])[0])
    # the vapour of a flame comes at the temperature of the ambient air
    vapour = flame * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * line.ambient_c)
    heat = heat_kwh * JOULES_PER_KWH + vapour
    return (
        relative_closure(gained, given, run.lot_kg() * run.moisture_wb),
        relative_closure(taken, start - end + heat, abs(start)),
    )


def _air_beside(tunnel: TunnelDryer, found: Solution) -> tuple[float, ...]:
    """Air at the borders of the cells, in the leaf's order."""
    beside = [float(t) for t in found.air_c]
    return (*beside, tunnel.inlet_c) if tunnel.flow == "counter" else (tunnel.inlet_c, *beside)


def _sources(tunnel: TunnelDryer, leaf_id: str) -> tuple[str, ...]:
    names = ["tunnel.h_factor", "tunnel.loading_max_kg_m2", "spread.inlet_c_sd"]
    if tunnel.heater.fuel is not None:
        names.append(f"{tunnel.heater.fuel}.net_heating_value_mj_kg")
        if tunnel.heater.kind == "direct":
            names.append(f"{tunnel.heater.fuel}.water_formed_kg_kg")
    if tunnel.heater.kind == "heat_pump":
        names.append("heat_pump.carnot_fraction")
    kept = f"Sorption, kinetics and limits: leaf profile {leaf_id} (its figures are listed)"
    return (*citations(*names), kept)


def _warnings(tunnel: TunnelDryer, profile: LeafProfile, result: TunnelResult) -> tuple[str, ...]:
    said = []
    if result.loading_kg_m2 > tunnel.loading_max_kg_m2 * (1 + 1e-9):
        said.append(
            f"The trays are over-full: {result.loading_kg_m2:.1f} kg/m2 where at most "
            f"{tunnel.loading_max_kg_m2:.1f} dry evenly; feed less or send trucks faster."
        )
    said += too_hot(profile, result.leaf_temperature_max_c)
    if result.exhaust_relative_humidity > 0.9:
        said.append("The exhaust is nearly saturated: more air or less recirculation dries faster.")
    said += heat_source(result.supply, tunnel.inlet_c)
    return (*said, *moisture(profile, result))
