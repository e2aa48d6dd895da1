"""Simulate a tunnel over trays: the run at steady state, and its spread from near roots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wareleaf.air import humidity_ratio
from wareleaf.measure import moisture_db_from_wb, moisture_wb_from_db, require
from wareleaf.stages._dry_heat_source import flame_water_kg_j
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_spec import AIR_MAX_C
from wareleaf.stages._dry_spread import cubature, deviations
from wareleaf.stages._dry_tables import by_dry_bulb, tables
from wareleaf.stages._dry_tunnel_result import TunnelResult, build
from wareleaf.stages._dry_tunnel_solve import Line, Solution, solve_fired
from wareleaf.stages._dry_tunnel_spec import TunnelDryer
from wareleaf.stages.common import SECONDS_PER_HOUR, finite, spread_wb


def simulate_tunnel(tunnel: TunnelDryer, run: DryRun, *, with_spread: bool = True) -> TunnelResult:
    """Dry a lot in a tunnel at steady state.

    Parameters
    ----------
    tunnel : TunnelDryer
        The machine.
    run : DryRun
        The leaf, the feed (``feed_kg_h``), the time in the tunnel and the air around.
    with_spread : bool
        Whether ``moisture_wb_out_sd`` is computed (else 0).

    Raises
    ------
    BadInput
        No feed, a set point below the ambient air, or no steady state.
    """
    finite("feed_kg_h", run.feed_kg_h, 0.0, unit="kg/h", above=True)
    require(
        tunnel.inlet_c >= run.ambient_c,
        "inlet_c",
        tunnel.inlet_c,
        f"inlet_c is {tunnel.inlet_c:g} degC; a heater cannot go below the ambient "
        f"{run.ambient_c:g} degC.",
    )
    solved = solve_fired(line_of(tunnel, run), flame_water_kg_j(tunnel.heater))
    sd = _spread(tunnel, run, solved[1]) if with_spread else 0.0
    return build(tunnel, run, solved, sd)


def line_of(tunnel: TunnelDryer, run: DryRun) -> Line:
    """The tunnel's cells for a run."""
    profile = run.leaf_profile()
    dry_kg_s = run.feed_kg_h * (1.0 - run.moisture_wb) / SECONDS_PER_HOUR
    holds = dry_kg_s * run.residence_h * SECONDS_PER_HOUR
    return Line(
        tables=tables(profile, run.pressure_pa),
        by_dry_bulb=by_dry_bulb(profile, run.pressure_pa, tunnel.velocity_m_s),
        rate_factor=run.rate_multiplier,
        cells=tunnel.cells,
        counter=tunnel.flow == "counter",
        dry_feed_kg_s=dry_kg_s,
        stay_s=run.residence_h * SECONDS_PER_HOUR,
        velocity_m_s=tunnel.velocity_m_s,
        free_area_m2=tunnel.free_area_m2,
        exchange_m2_kg=min(
            tunnel.sides * tunnel.tray_area_m2 / holds, profile.specific_surface_m2_kg
        ),
        inlet_c=tunnel.inlet_c,
        recirculated=tunnel.recirculated,
        ambient_c=run.ambient_c,
        ambient_ratio=float(humidity_ratio(run.ambient_c, run.ambient_rh, run.pressure_pa)),
        feed=(
            float(moisture_db_from_wb(run.moisture_wb)),
            run.ambient_c if run.leaf_c is None else run.leaf_c,
        ),
    )


def _spread(tunnel: TunnelDryer, run: DryRun, found: Solution) -> float:
    """Standard deviation of the outlet moisture by the rule of `spread`, from a near root."""
    points, weights = cubature(run)
    out = []
    for z in points * deviations(run):
        moisture_wb, loading, ambient_c, humidity, inlet_c, rate = z
        ambient = float(np.clip(run.ambient_c + ambient_c, -20.0, 60.0))
        near = replace(
            run,
            moisture_wb=float(np.clip(run.moisture_wb + moisture_wb, 0.002, 0.985)),
            feed_kg_h=run.feed_kg_h * float(np.exp(loading)),
            ambient_c=ambient,
            ambient_rh=float(np.clip(run.ambient_rh + humidity, 0.0, 1.0)),
        )
        air_c = min(max(tunnel.inlet_c + inlet_c, ambient), AIR_MAX_C)
        line = line_of(replace(tunnel, inlet_c=air_c), near)
        line = replace(line, rate_factor=line.rate_factor * float(np.exp(rate)))
        _, dried = solve_fired(line, flame_water_kg_j(tunnel.heater), found)
        out.append(moisture_wb_from_db(float(dried.moisture[-1])))
    return spread_wb(np.array(out), weights)[1]
