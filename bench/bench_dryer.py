"""One belt-dryer solve against SciPy's BDF on the same equations, to the same answer.

The belt has three zones with recirculated air, up, down and up again with the bed remixed, eight
layers of sugar kelp. Both codes find the inlet humidity of each zone that returns itself. The
reference integrates the layers' equations along the belt with `scipy.integrate.solve_ivp` (BDF,
relative tolerance 1e-6, vectorised right-hand side so that its Jacobian costs one call) and closes
each zone by a secant; rates, sorption and humid air come from the same tables. Both run in numpy on
small arrays, so call overhead weighs on both; a compiled right-hand side would narrow the ratio.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root_scalar

from bench import Row, median_seconds_of
from wareleaf.air import specific_volume_m3_kg
from wareleaf.stages import _dry_cell as cells
from wareleaf.stages import dry
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_march import turn
from wareleaf.stages._dry_solve import scenarios, solve
from wareleaf.stages._dry_tables import by_dry_bulb, tables

DRYER = dry.BeltDryer(
    area_m2=40.0,
    zones=(
        dry.Zone(0.4, 70.0, 1.0, 0.6, "up"),
        dry.Zone(0.35, 65.0, 0.8, 0.7, "down"),
        dry.Zone(0.25, 55.0, 0.6, 0.3, "up", remix=True),
    ),
)
RUN = dry.DryRun("sugar_kelp_blanched", 0.90, 2.5, feed_kg_h=300.0)


def slopes(bed: cells.Bed, x, c, inlet: cells.Air):
    """Rates of change of moisture and leaf temperature (row, layer), and the air that leaves."""
    t, per_air = bed.tables, bed.layer_kg_m2 / bed.flux
    dx, dc, air = np.empty_like(x), np.empty_like(c), inlet
    for j in range(x.shape[1]):
        xj, cj = x[:, j : j + 1], c[:, j : j + 1]
        heat = t.heat_dry + t.heat_water * xj
        half = cells.Air(np.zeros_like(xj), np.zeros_like(xj))
        for _ in range(2):  # k and Xe are those of the air midway through the layer
            d = cells.drive(bed, cells.Leaf(xj, cj), air, half, 0.0)
            limit = np.where(d.excess >= 0, d.outside, d.uptake)
            n = np.sign(d.excess) * cells.series_rate(d.rate * np.abs(d.excess), limit) + d.dew
            warming = d.warm / heat * (cells.steady_c(d, air.dry_bulb, n) - cj)
            bound = np.interp(xj, t.binding_x, t.binding_heat)
            given = -(heat * warming) + n * (t.heat_water * cj - bound)
            w = air.ratio + per_air * n
            h = cells.air_enthalpy(*air) + per_air * given
            out = cells.Air(cells.air_dry_bulb(h, w), w)
            half = cells.Air(0.5 * (out.dry_bulb - air.dry_bulb), 0.5 * (out.ratio - air.ratio))
        dx[:, j], dc[:, j] = -n[:, 0], warming[:, 0]
        air = out
    return dx, dc, air


def reference(dryer: dry.BeltDryer, run: dry.DryRun, rtol: float = 1e-6) -> float:
    """Outlet moisture db by BDF along the belt, each zone closed by a secant."""
    profile, many = run.leaf_profile(), scenarios(dryer, run)
    props = tables(profile, run.pressure_pa)
    leaf = cells.Leaf(
        np.full((1, dryer.layers), many.moisture_db[0]), np.full((1, dryer.layers), many.leaf_c[0])
    )
    ambient = float(many.ambient_ratio[0])
    for zone in dryer.zones:
        side = slice(None, None, -1) if zone.direction == "down" else slice(None)
        if zone.remix:
            leaf, _ = turn(props, leaf)
        start = np.concatenate([leaf.moisture[0, side], leaf.temperature_c[0, side], [0.0]])
        span = run.residence_h * 3600.0 * zone.share

        def along(ratio: float, zone=zone, start=start, span=span):
            volume = specific_volume_m3_kg(zone.inlet_c, ratio, run.pressure_pa)
            flux = np.array([[zone.velocity_m_s / volume]])
            transfer = transfer_w_m2_k(flux * (1 + ratio), profile.half_thickness_m)
            bed = cells.Bed(
                tables=props,
                by_dry_bulb=by_dry_bulb(profile, run.pressure_pa, zone.velocity_m_s),
                rate_factor=np.ones((1, 1)),
                flux=flux,
                layer_kg_m2=many.dry_load_kg_m2[:, None] / dryer.layers,
                conductance=dryer.exposure * profile.specific_surface_m2_kg * transfer,
                dt_s=np.ones((1, 1)),
                steps=1,
            )
            n = dryer.layers

            def right(_time, y):
                y = y.reshape(2 * n + 1, -1)
                one = np.ones((y.shape[1], 1))
                inlet = cells.Air(zone.inlet_c * one, ratio * one)
                dx, dc, out = slopes(bed, y[:n].T, y[n : 2 * n].T, inlet)
                return np.concatenate([dx.T, dc.T, out.ratio.T / span])

            return solve_ivp(
                right, (0.0, span), start, "BDF", rtol=rtol, atol=rtol * 1e-2, vectorized=True
            ).y[:, -1]

        ratio = ambient
        if zone.recirculated:
            ratio = root_scalar(
                lambda w, zone=zone, along=along: (
                    zone.recirculated * along(w)[-1] + (1 - zone.recirculated) * ambient - w
                ),
                x0=ambient,
                x1=ambient + 0.005,
                method="secant",
                xtol=1e-7,
            ).root
        end = along(ratio)
        n = dryer.layers
        leaf = cells.Leaf(end[None, :n][:, side], end[None, n : 2 * n][:, side])
    return float(leaf.moisture.mean())


def ours(dryer: dry.BeltDryer, run: dry.DryRun) -> float:
    """Outlet moisture db by our march."""
    return float(solve(dryer, run, scenarios(dryer, run)).moisture_db[0])


def run() -> list[Row]:
    fine = replace(DRYER, steps=640)
    seconds = median_seconds_of(
        [
            lambda: ours(DRYER, RUN),
            lambda: ours(fine, RUN),
            lambda: dry.simulate(DRYER, RUN),
        ],
        repeats=7,
    )
    start = time.perf_counter()
    exact = reference(DRYER, RUN)  # once: it takes many of our solves
    bdf = time.perf_counter() - start
    error, fine_error = (abs(ours(d, RUN) / exact - 1.0) for d in (DRYER, fine))
    cells_count = DRYER.layers * DRYER.steps
    return [
        Row("belt, 3 zones, recirculated", 1e3 * seconds[0], 1e3 * bdf, bdf / seconds[0], "ms",
            ">= 10", f"{cells_count} cells; outlet moisture db off BDF by {100 * error:.2f} %"),
        Row("same, 16 times finer along", 1e3 * seconds[1], 1e3 * bdf, bdf / seconds[1], "ms", "",
            f"off BDF by {100 * fine_error:.3f} %"),
        Row("simulate with its spread", 1e3 * seconds[2], None, None, "ms", "<= 150",
            "13 scenarios solved together"),
    ]  # fmt: skip
