"""A single belt or tray run by Newton's rule, put into the shape of the march."""

from __future__ import annotations

import numpy as np

from wareleaf.stages._dry_belt import Belt, Fields, Stage
from wareleaf.stages._dry_cell import Air, Leaf
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_march import passed, turn
from wareleaf.stages._dry_newton import solve_belt
from wareleaf.stages._dry_spec import Dryer, FluidBed
from wareleaf.stages._dry_state import STILL_M_S, Scenarios, ZoneState, zone_steps
from wareleaf.stages._dry_tables import by_dry_bulb, tables

_CELLS = 800  # with more, the march is as quick


def at_once(dryer: Dryer, run: DryRun, many: Scenarios) -> list[ZoneState] | None:
    """Zones of a single run by Newton's rule; None where that is not for this dryer."""
    plain = not isinstance(dryer, FluidBed) and len(many) == 1 and dryer.heater.kind != "direct"
    if (
        not plain
        or dryer.layers * dryer.steps > _CELLS
        or any(z.velocity_m_s < STILL_M_S or z.coil_c is not None for z in dryer.zones)
    ):
        return None
    profile = run.leaf_profile()
    stages = []
    for n, zone in enumerate(dryer.zones):
        steps = zone_steps(dryer, zone)
        stages.append(
            Stage(
                steps=steps,
                down=zone.direction == "down",
                remix=zone.remix,
                recirculated=zone.recirculated,
                inlet_c=float(many.ambient_c[0] if zone.inlet_c is None else many.inlet_c[0, n]),
                velocity_m_s=zone.velocity_m_s,
                dt_s=float(many.residence_h[0]) * 3600.0 * zone.share / steps,
                by_dry_bulb=by_dry_bulb(profile, run.pressure_pa, zone.velocity_m_s),
            )
        )
    belt = Belt(
        tables=tables(profile, run.pressure_pa),
        stages=tuple(stages),
        layers=dryer.layers,
        layer_kg_m2=float(many.dry_load_kg_m2[0]) / dryer.layers,
        surface_m2_kg=dryer.exposure * profile.specific_surface_m2_kg,
        half_thickness_m=profile.half_thickness_m,
        rate_factor=float(many.rate_multiplier[0]),
        moisture=float(many.moisture_db[0]),
        leaf_c=float(many.leaf_c[0]),
        ambient_ratio=float(many.ambient_ratio[0]),
    )
    found = solve_belt(belt)
    return None if found is None else _zones_of(dryer, belt, found)


def _zones_of(dryer: Dryer, belt: Belt, found: Fields) -> list[ZoneState]:
    entry = Leaf(np.full(dryer.layers, belt.moisture), np.full(dryer.layers, belt.leaf_c))
    done, at = [], 0
    for n, (zone, stage) in enumerate(zip(dryer.zones, belt.stages, strict=True)):
        here = slice(at, at + stage.steps)
        at += stage.steps
        side = slice(None, None, -1) if stage.down else slice(None)
        if zone.remix:
            turned, _ = turn(belt.tables, Leaf(entry.moisture[None], entry.temperature_c[None]))
            entry = Leaf(turned.moisture[0], turned.temperature_c[0])
        x = np.concatenate([entry.moisture[None], found.moisture[here, side]]).T[None]
        c = np.concatenate([entry.temperature_c[None], found.leaf_c[here, side]]).T[None]
        out = Air(found.air_c[None, here, -1], found.ratio[None, here, -1])
        most = np.array([max(stage.inlet_c, float(found.air_c[here].max()))])
        bed = passed(x[:, side], c[:, side], out, most)
        inlet = np.array([stage.inlet_c])
        done.append(
            ZoneState(zone, bed, x, c, inlet, found.inlet_ratio[n : n + 1],
                      found.flux[n : n + 1], np.zeros(1))
        )  # fmt: skip
        entry = Leaf(x[0, :, -1], c[0, :, -1])
    return done
