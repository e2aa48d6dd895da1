"""What a dryer gives: the lot, each zone's air, heat, fans and fuel, and how the balances close."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wareleaf import leaf
from wareleaf.air import (
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    dry_bulb_from_enthalpy_c,
    enthalpy_j_kg,
    relative_humidity,
    specific_volume_m3_kg,
)
from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_bed import fluid_drop_pa, minimum_fluidisation_m_s, packed_drop_pa
from wareleaf.stages._dry_figures import citations, fluid_rate_factor_name
from wareleaf.stages._dry_heat_source import HeatSupply, ZoneHeat, after_coil, supply
from wareleaf.stages._dry_load import DryRun, loading_kg_m2
from wareleaf.stages._dry_solve import Solved, duty_j_kg
from wareleaf.stages._dry_spec import Dryer, FluidBed, TrayDryer
from wareleaf.stages._dry_warn import warnings_of
from wareleaf.stages.common import JOULES_PER_KWH, StageResult, relative_closure


@dataclass(frozen=True)
class ZoneResult:
    """One zone's air and leaf.

    Humidity ratios in kg/kg dry air; the exhaust is the mean over the zone; ``heat_kwh`` is what
    the air took up in the heater (below 0: the zone would need cooling to hold its set point);
    ``drained_kg`` is water that then drips from the return air. An evaporator takes ``cooling_kwh``
    from the return air and ``condensed_kg`` of water; a flame adds ``combustion_water_kg`` to it.
    """

    inlet_c: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    dry_air_kg: float
    pressure_drop_pa: float
    leaf_c_out: float
    leaf_c_max: float
    moisture_wb_out: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    drained_kg: float
    cooling_kwh: float = 0.0
    condensed_kg: float = 0.0
    combustion_water_kg: float = 0.0


@dataclass(frozen=True)
class DryResult(StageResult):
    """Result of a drying stage; the common fields of every stage, then those of dryers.

    Parameters
    ----------
    duration_h : float
        From the first leaf in to the last leaf out, h.
    heat_kwh : float
        Heat from the heater, casing losses included, for the whole lot.
    fuel_kg : float
        As fired, on the net heating value; 0 without a fuel.
    water_residual, energy_residual : float
        Relative closures from sums over feed, product, fresh air and discharged exhaust.
    heat_mj_per_kg_water, water_kg_per_kwh : float
        Specific heat use, and water per kWh of heat and electricity together.
    moisture_wb_layers : tuple of float
        At the outlet, from the bottom of the bed to its top.
    curve_time_h, curve_moisture_wb, curve_leaf_c : tuple of float
        Along the way, mean over depth.
    supply : HeatSupply
        How the heat was made; its electricity is part of ``electricity_kwh``.
    """

    leaf_temperature_out_c: float
    loading_kg_m2: float
    depth_m: float
    heat_mj_per_kg_water: float
    water_kg_per_kwh: float
    air_temperature_max_c: float
    exhaust_c: float
    minimum_fluidisation_m_s: float | None
    zones: tuple[ZoneResult, ...]
    moisture_wb_layers: tuple[float, ...]
    curve_time_h: tuple[float, ...]
    curve_moisture_wb: tuple[float, ...]
    curve_leaf_c: tuple[float, ...]
    supply: HeatSupply


def hours_of_air(dryer: Dryer, run: DryRun) -> float:
    """Hours for which the air is charged to this lot."""
    if isinstance(dryer, TrayDryer):
        return run.residence_h
    return run.lot_kg() / run.feed_kg_h


def build(dryer: Dryer, run: DryRun, solved: Solved, moisture_wb_out_sd: float) -> DryResult:
    """Put the result of scenario 0 together."""
    profile = run.leaf_profile()
    dry = run.lot_kg() * (1.0 - run.moisture_wb)
    zones = tuple(_zone(dryer, run, profile, solved, n) for n in range(len(solved.zones)))
    water = dry * (float(solved.scenarios.moisture_db[0]) - float(solved.moisture_db[0]))
    asked = tuple(
        ZoneHeat(z.heat_kwh, z.cooling_kwh, z.inlet_c, s.zone.coil_c)
        for z, s in zip(zones, solved.zones, strict=True)
    )
    made = supply(dryer.heater, asked, run.ambient_c)
    heat = made.heat_kwh
    fans = sum(z.electricity_kwh for z in zones)
    power, used = fans + made.electricity_kwh, fans + made.bought_kwh
    moisture = moisture_wb_from_db(float(solved.moisture_db[0]))
    time_h, curve, leaf_c = _curve(run, solved)
    hours = hours_of_air(dryer, run)
    result = DryResult(
        duration_h=hours if isinstance(dryer, TrayDryer) else hours + run.residence_h,
        mass_in_kg=run.lot_kg(),
        mass_out_kg=dry / (1.0 - moisture),
        dry_matter_kg=dry,
        moisture_wb_out=moisture,
        moisture_wb_out_sd=moisture_wb_out_sd,
        water_removed_kg=water,
        heat_kwh=heat,
        electricity_kwh=power,
        fuel_kg=made.fuel_kg,
        water_residual=_water_residual(run, solved, zones, dry),
        energy_residual=_energy_residual(solved, zones, dry),
        leaf_temperature_max_c=float(solved.leaf_max_c[0]),
        warnings=(),
        sources=_sources(dryer, profile),
        leaf_temperature_out_c=float(solved.leaf_c[0]),
        loading_kg_m2=loading_kg_m2(dryer, run),
        depth_m=loading_kg_m2(dryer, run) / profile.bulk_density_kg_m3,
        heat_mj_per_kg_water=3.6 * heat / water if water > 0.0 else 0.0,
        water_kg_per_kwh=water / used if water > 0.0 and used > 0.0 else 0.0,
        air_temperature_max_c=max(
            [float(s.bed.air_max_c[0]) for s in solved.zones if s.bed is not None],
            default=run.ambient_c,
        ),
        exhaust_c=mixed_exhaust_c(zones, run.ambient_c),
        minimum_fluidisation_m_s=_fluidisation(dryer, run, zones),
        zones=zones,
        moisture_wb_layers=tuple(
            float(moisture_wb_from_db(x)) for x in solved.zones[-1].moisture[0, :, -1]
        ),
        curve_time_h=time_h,
        curve_moisture_wb=curve,
        curve_leaf_c=leaf_c,
        supply=made,
    )
    return replace(result, warnings=warnings_of(dryer, run, profile, result))


def mixed_exhaust_c(zones: tuple[ZoneResult, ...], otherwise_c: float) -> float:
    """Temperature of all exhausts in one duct, degC."""
    air = np.array([z.dry_air_kg for z in zones])
    if air.sum() <= 0.0:
        return otherwise_c
    ratio = np.array([z.exhaust_humidity_ratio for z in zones])
    heat = enthalpy_j_kg(np.array([z.exhaust_c for z in zones]), ratio)
    mean_h, mean_w = np.average(heat, weights=air), np.average(ratio, weights=air)
    return float(dry_bulb_from_enthalpy_c(mean_h, mean_w))


def _zone(
    dryer: Dryer, run: DryRun, profile: leaf.LeafProfile, solved: Solved, index: int
) -> ZoneResult:
    state = solved.zones[index]
    dry = run.lot_kg() * (1.0 - run.moisture_wb)
    before, after = state.moisture[0, :, 0].mean(), state.moisture[0, :, -1].mean()
    t_in, w_in = float(state.inlet_c[0]), float(state.inlet_ratio[0])
    air, t_out, w_out, heat, drop, power, drained = 0.0, t_in, w_in, 0.0, 0.0, 0.0, 0.0
    cooling, condensed, flame = 0.0, 0.0, 0.0
    if state.bed is not None:
        air = float(state.flux[0]) * dryer.area_m2 * state.zone.share
        air *= 3600.0 * hours_of_air(dryer, run)
        h_out, w_out = float(state.bed.exhaust_enthalpy[0]), float(state.bed.exhaust_ratio[0])
        t_out = float(dry_bulb_from_enthalpy_c(h_out, w_out))
        r = state.zone.recirculated
        drained = air * float(state.drained[0])
        heat = air * float(duty_j_kg(solved, index)[0]) / JOULES_PER_KWH
        _, _, cold, gone = after_coil(
            state.zone, solved.tables, state.bed.exhaust_ratio, state.bed.exhaust_enthalpy
        )
        cooling = air * r * float(cold[0]) / JOULES_PER_KWH
        condensed = air * r * float(gone[0])
        flame = air * (1.0 - r) * float(solved.scenarios.added_ratio[0, index])
        volume = float(specific_volume_m3_kg(t_in, w_in, run.pressure_pa))
        drop = _drop_pa(dryer, run, profile, state.zone.velocity_m_s, (1.0 + w_in) / volume)
        power = air * volume * drop / dryer.fan.efficiency / JOULES_PER_KWH
    humidity = float(relative_humidity(t_out, w_out, run.pressure_pa))
    return ZoneResult(
        inlet_c=t_in,
        inlet_humidity_ratio=w_in,
        exhaust_c=t_out,
        exhaust_humidity_ratio=w_out,
        exhaust_relative_humidity=humidity,
        dry_air_kg=air,
        pressure_drop_pa=drop,
        leaf_c_out=float(state.leaf_c[0, :, -1].mean()),
        leaf_c_max=float(state.leaf_c[0].max()),
        moisture_wb_out=float(moisture_wb_from_db(after)),
        water_removed_kg=float(dry * (before - after)),
        heat_kwh=heat,
        electricity_kwh=power,
        drained_kg=drained,
        cooling_kwh=cooling,
        condensed_kg=condensed,
        combustion_water_kg=flame,
    )


def _drop_pa(
    dryer: Dryer, run: DryRun, profile: leaf.LeafProfile, velocity: float, air_kg_m3: float
) -> float:
    load = loading_kg_m2(dryer, run)
    duct = dryer.fan.duct_pa * velocity**2
    if isinstance(dryer, FluidBed):
        return duct + fluid_drop_pa(load)
    depth = load / profile.bulk_density_kg_m3
    return duct + packed_drop_pa(
        velocity, air_kg_m3, depth, profile.bulk_density_kg_m3, profile.half_thickness_m
    )


def _fluidisation(dryer: Dryer, run: DryRun, zones: tuple[ZoneResult, ...]) -> float | None:
    if not isinstance(dryer, FluidBed):
        return None
    first = zones[0]
    volume = specific_volume_m3_kg(first.inlet_c, first.inlet_humidity_ratio, run.pressure_pa)
    density = float((1.0 + first.inlet_humidity_ratio) / volume)
    return minimum_fluidisation_m_s(dryer.particle_m, dryer.particle_density_kg_m3, density)


def _water_residual(
    run: DryRun, solved: Solved, zones: tuple[ZoneResult, ...], dry_kg: float
) -> float:
    """Feed and fresh air in, product and discharged exhaust out, relative to the feed water."""
    ambient = float(solved.scenarios.ambient_ratio[0])
    gained, lost = 0.0, run.lot_kg() * run.moisture_wb - dry_kg * float(solved.moisture_db[0])
    for z, state in zip(zones, solved.zones, strict=True):
        fresh = z.dry_air_kg * (1.0 - state.zone.recirculated)
        gained += fresh * (z.exhaust_humidity_ratio - ambient) + z.drained_kg + z.condensed_kg
        lost += z.combustion_water_kg
    return relative_closure(gained, lost, run.lot_kg() * run.moisture_wb)


def _energy_residual(solved: Solved, zones: tuple[ZoneResult, ...], dry_kg: float) -> float:
    """Heat and enthalpies across the border, relative to the larger of heat and air enthalpy."""
    many, props = solved.scenarios, solved.tables
    ambient = float(enthalpy_j_kg(many.ambient_c, many.ambient_ratio)[0])
    start = dry_kg * float(props.leaf_heat(many.moisture_db, many.leaf_c)[0])
    leaving = props.leaf_heat(solved.moisture_db, solved.leaf_c) + solved.hidden_j_kg
    end = dry_kg * float(leaving[0])
    given, taken = start - end, 0.0
    for z, state in zip(zones, solved.zones, strict=True):
        fresh = z.dry_air_kg * (1.0 - state.zone.recirculated)
        out = float(enthalpy_j_kg(z.exhaust_c, z.exhaust_humidity_ratio))
        taken += fresh * (out - ambient) + z.drained_kg * CP_WATER_J_KG_K * z.inlet_c
        given += z.heat_kwh * JOULES_PER_KWH
        # the vapour of a flame comes at the temperature of the ambient air
        vapour = LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * float(many.ambient_c[0])
        given += z.combustion_water_kg * vapour
        if state.zone.coil_c is not None:
            coil = min(z.exhaust_c, state.zone.coil_c)
            taken += z.condensed_kg * CP_WATER_J_KG_K * coil + z.cooling_kwh * JOULES_PER_KWH
    return relative_closure(taken, given, abs(start))


def _curve(
    run: DryRun, solved: Solved
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    start, time_h, x, c = 0.0, [0.0], [float(solved.scenarios.moisture_db[0])], []
    c.append(float(solved.scenarios.leaf_c[0]))
    for state in solved.zones:
        steps = state.moisture.shape[2] - 1
        span = run.residence_h * state.zone.share
        time_h += [start + span * (i + 1) / steps for i in range(steps)]
        x += [float(v) for v in state.moisture[0, :, 1:].mean(axis=0)]
        c += [float(v) for v in state.leaf_c[0, :, 1:].mean(axis=0)]
        start += span
    return tuple(time_h), tuple(float(moisture_wb_from_db(v)) for v in x), tuple(c)


def _sources(dryer: Dryer, profile: leaf.LeafProfile) -> tuple[str, ...]:
    names = ["bed.h_low_factor", "bed.exposure", "spread.inlet_c_sd"]
    if isinstance(dryer, FluidBed):
        names += [fluid_rate_factor_name(profile.id), "fluid_bed.particle_m", "fluid_bed.wen_yu_a"]
    else:
        names += ["bed.ergun_viscous", "belt.loading_max_kg_m2"]
    if dryer.heater.fuel is not None:
        names.append(f"{dryer.heater.fuel}.net_heating_value_mj_kg")
        if dryer.heater.kind == "direct":
            names.append(f"{dryer.heater.fuel}.water_formed_kg_kg")
    if dryer.heater.kind == "heat_pump":
        names.append("heat_pump.carnot_fraction")
    if dryer.heater.kind == "steam":
        names.append("steam.latent_mj_kg")
    kept = "Sorption, kinetics and limits: leaf profile " + profile.id + " (its figures are listed)"
    return (*citations(*names), kept)
