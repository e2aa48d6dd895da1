"""What is solved of a dryer and what comes of it: scenarios in, zones and their heat out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.air import CP_WATER_J_KG_K, humidity_ratio
from wareleaf.measure import moisture_db_from_wb
from wareleaf.stages._dry_cell import air_enthalpy
from wareleaf.stages._dry_heat_source import after_coil, flame_water_kg_j
from wareleaf.stages._dry_load import DryRun, loading_kg_m2
from wareleaf.stages._dry_march import Pass
from wareleaf.stages._dry_spec import Dryer, Zone
from wareleaf.stages._dry_tables import Tables
from wareleaf.stages.common import Array

STILL_M_S = 1e-6  # slower air does not move


@dataclass(frozen=True, eq=False)
class Scenarios:
    """Runs that are solved together; every array is (scenario,), ``inlet_c`` (scenario, zone)."""

    moisture_db: Array
    leaf_c: Array
    dry_load_kg_m2: Array
    residence_h: Array
    ambient_c: Array
    ambient_ratio: Array
    inlet_c: Array
    rate_multiplier: Array
    added_ratio: Array  # (scenario, zone) combustion vapour, kg per kg of fresh dry air

    def __len__(self) -> int:
        """Count of scenarios."""
        return int(self.moisture_db.size)


@dataclass(frozen=True, eq=False)
class ZoneState:
    """One zone as solved; arrays are (scenario,)."""

    zone: Zone
    bed: Pass | None  # None where no air moves
    moisture: Array  # (scenario, layer, step), numbered from the bottom
    leaf_c: Array
    inlet_c: Array
    inlet_ratio: Array
    flux: Array  # dry air, kg/(s m2)
    drained: Array  # kg/kg dry air that drips out where the return air is cooled to saturation


@dataclass(frozen=True, eq=False)
class Solved:
    """All zones, and the leaf that leaves the last."""

    tables: Tables
    scenarios: Scenarios
    zones: tuple[ZoneState, ...]
    moisture_db: Array  # (scenario,) mean over depth
    leaf_c: Array  # (scenario,) mean by heat capacity
    leaf_max_c: Array
    hidden_j_kg: Array  # heat of binding that the mean moisture does not show, see `turn`


def scenarios(dryer: Dryer, run: DryRun, count: int = 1) -> Scenarios:
    """``count`` copies of a run, to be varied with `dataclasses.replace`."""

    def many(value: float) -> Array:
        return np.full(count, float(value))

    moisture = moisture_db_from_wb(run.moisture_wb)
    load = loading_kg_m2(dryer, run) * (1.0 - run.moisture_wb)
    inlet = [run.ambient_c if z.inlet_c is None else z.inlet_c for z in dryer.zones]
    return Scenarios(
        moisture_db=many(moisture),
        leaf_c=many(run.ambient_c if run.leaf_c is None else run.leaf_c),
        dry_load_kg_m2=many(load),
        residence_h=many(run.residence_h),
        ambient_c=many(run.ambient_c),
        ambient_ratio=many(humidity_ratio(run.ambient_c, run.ambient_rh, run.pressure_pa)),
        inlet_c=np.repeat(np.array(inlet, dtype=np.float64)[None, :], count, axis=0),
        rate_multiplier=many(run.rate_multiplier),
        added_ratio=np.zeros((count, len(dryer.zones))),
    )


def zone_steps(dryer: Dryer, zone: Zone) -> int:
    """Steps along one zone."""
    return max(3, round(dryer.steps * zone.share))


def flame_ratio(dryer: Dryer, solved: Solved) -> Array:
    """Vapour that the flame adds to each kg of fresh dry air, (scenario, zone).

    The heating value is taken at the temperature of the ambient air, water leaving as vapour.
    """
    per_joule = flame_water_kg_j(dryer.heater)
    found = np.zeros_like(solved.scenarios.added_ratio)
    for n, state in enumerate(solved.zones):
        if state.bed is not None and state.zone.inlet_c is not None:
            per_fresh = duty_j_kg(solved, n) / (1.0 - state.zone.recirculated)
            found[:, n] = np.maximum(per_fresh, 0.0) * per_joule
    return found


def duty_j_kg(solved: Solved, index: int) -> Array:
    """Heat that the heater of a zone gives each kg of its dry air, J/kg (scenario,)."""
    many, state = solved.scenarios, solved.zones[index]
    bed, r = state.bed, state.zone.recirculated
    if bed is None:
        return np.zeros(len(many))
    fresh = air_enthalpy(many.ambient_c, many.ambient_ratio + many.added_ratio[:, index])
    _, back, _, _ = after_coil(state.zone, solved.tables, bed.exhaust_ratio, bed.exhaust_enthalpy)
    duty = air_enthalpy(state.inlet_c, state.inlet_ratio) - r * back - (1.0 - r) * fresh
    found: Array = duty + state.drained * CP_WATER_J_KG_K * state.inlet_c
    return found
