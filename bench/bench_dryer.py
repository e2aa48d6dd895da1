"""One belt-dryer solve against SciPy's BDF on the same equations, to the same answer.

First the belt in some 50 cells. The reference takes the very same cells as a system in time, each
a mixed stretch of belt, ``du/dt = (cell(u before) - u)/stay``, the return ducts alike, and runs
SciPy's BDF with the sparsity pattern (and a vectorised right-hand side) from a full belt of fresh
leaf until nothing moves; that has the same steady state, and both must agree to 1e-6. Then the
usual grid, against BDF along the belt with fine steps, which shows what the grid itself costs.

The belt has three zones with recirculated air, up, down and up again with the bed remixed, eight
layers of sugar kelp. Both codes find the inlet humidity of each zone that returns itself. The
reference integrates the layers' equations along the belt with `scipy.integrate.solve_ivp` (BDF,
relative tolerance 1e-6, vectorised right-hand side so that its Jacobian costs one call) and closes
each zone by a secant; rates, sorption and humid air come from the same tables. Both run in numpy on
small arrays, so call overhead weighs on both; a compiled right-hand side would narrow the ratio.

The clock is that of the processor on both sides: one thread on a free core takes the same by the
wall, and a busy machine does not spoil the targets that have no reference.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root_scalar
from scipy.sparse import csr_matrix

from bench import Row, median_seconds_of
from wareleaf.air import specific_volume_m3_kg
from wareleaf.stages import _dry_cell as cells
from wareleaf.stages import dry
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_march import turn
from wareleaf.stages._dry_solve import scenarios, solve, zone_steps
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


SMALL = replace(DRYER, layers=5, steps=10)


class InTime:
    """The cells of a belt as a system in time: leaf and halfway air of each, and zones' inlets."""

    def __init__(self, dryer: dry.BeltDryer, run: dry.DryRun) -> None:
        self.dryer, self.run, self.many = dryer, run, scenarios(dryer, run)
        self.profile = run.leaf_profile()
        self.props = tables(self.profile, run.pressure_pa)
        self.steps = [zone_steps(dryer, z) for z in dryer.zones]
        self.cells = sum(self.steps) * dryer.layers
        self.size = 4 * self.cells + len(dryer.zones)
        self.stay = [
            run.residence_h * 3600.0 * z.share / n
            for z, n in zip(dryer.zones, self.steps, strict=True)
        ]

    def start(self) -> np.ndarray:
        y = np.zeros(self.size)
        y[: self.cells] = self.many.moisture_db[0]
        y[self.cells : 2 * self.cells] = self.many.leaf_c[0]
        y[4 * self.cells :] = self.many.ambient_ratio[0]
        return y

    def slope(self, _time: float, y: np.ndarray) -> np.ndarray:
        """Right-hand side for columns of states."""
        y = y.reshape(self.size, -1)
        rows, layers, out = y.shape[1], self.dryer.layers, np.empty_like(y)
        parts = y[: 4 * self.cells].reshape(4, -1, layers, rows)  # from the bottom of the bed up
        slopes = out[: 4 * self.cells].reshape(4, -1, layers, rows)
        x0 = np.full((1, layers, rows), self.many.moisture_db[0])
        c0 = np.full((1, layers, rows), self.many.leaf_c[0])
        ambient, at = self.many.ambient_ratio[0], 0
        for n, (zone, steps) in enumerate(zip(self.dryer.zones, self.steps, strict=True)):
            x, c, hc, hw = parts[:, at : at + steps]
            if zone.remix:
                capacity = self.props.heat_dry + self.props.heat_water * x0
                c0 = np.broadcast_to(
                    (capacity * c0).sum(1, keepdims=True) / capacity.sum(1, keepdims=True), c0.shape
                )
                x0 = np.broadcast_to(x0.mean(1, keepdims=True), x0.shape)
            x_in, c_in = np.concatenate([x0, x[:-1]]), np.concatenate([c0, c[:-1]])
            ratio = y[4 * self.cells + n]
            volume = specific_volume_m3_kg(zone.inlet_c, ratio, self.run.pressure_pa)
            flux = np.tile(zone.velocity_m_s / volume, (steps, 1))
            transfer = transfer_w_m2_k(flux * (1.0 + ratio), self.profile.half_thickness_m)
            bed = cells.Bed(
                tables=self.props,
                by_dry_bulb=by_dry_bulb(self.profile, self.run.pressure_pa, zone.velocity_m_s),
                rate_factor=np.ones((1, 1)),
                flux=flux,
                layer_kg_m2=np.full((1, 1), self.many.dry_load_kg_m2[0] / layers),
                conductance=self.dryer.exposure * self.profile.specific_surface_m2_kg * transfer,
                dt_s=np.full((1, 1), self.stay[n]),
                steps=1,
            )
            air = cells.Air(np.full((steps, rows), zone.inlet_c), np.tile(ratio, (steps, 1)))
            new = np.empty((4, steps, layers, rows))
            for j in range(layers) if zone.direction == "up" else reversed(range(layers)):
                leaf, left = cells.cell(
                    bed, cells.Leaf(x_in[:, j], c_in[:, j]), air, cells.Air(hc[:, j], hw[:, j])
                )
                new[0, :, j], new[1, :, j] = leaf
                new[2, :, j] = 0.5 * (left.dry_bulb - air.dry_bulb)
                new[3, :, j] = 0.5 * (left.ratio - air.ratio)
                air = left
            new[2:, 1:], new[2:, 0] = new[2:, :-1].copy(), 0.0
            slopes[:, at : at + steps] = (new - parts[:, at : at + steps]) / self.stay[n]
            back = zone.recirculated * air.ratio.mean(axis=0) + (1 - zone.recirculated) * ambient
            out[4 * self.cells + n] = (back - ratio) / self.stay[n]
            x0, c0, at = x[-1:], c[-1:], at + steps
        return out

    def pattern(self) -> csr_matrix:
        """Which unknown hangs on which: found once by moving each of them, in three states."""
        rng, found = np.random.default_rng(1), self._columns()
        for _ in range(3):
            y = self.start()
            y[: self.cells] *= rng.uniform(0.05, 1.0, self.cells)
            y[self.cells : 2 * self.cells] = rng.uniform(15.0, 60.0, self.cells)
            moved = y[:, None] + np.eye(self.size) * 1e-4
            found |= np.abs(self.slope(0.0, moved) - self.slope(0.0, y[:, None])) > 0.0
        return csr_matrix(found)

    def _columns(self) -> np.ndarray:
        """Inlets hang on all of their zone, and all of a zone on its inlet."""
        tied = np.zeros((self.size, self.size), dtype=bool)
        zone = np.tile(np.repeat(np.arange(len(self.steps)), self.steps).repeat(
            self.dryer.layers), 4)  # fmt: skip
        for n in range(len(self.steps)):
            mine = np.flatnonzero(zone == n)
            tied[mine, 4 * self.cells + n] = tied[4 * self.cells + n, mine] = True
        return tied

    def settle(self, pattern: csr_matrix, hours: float) -> float:
        """Outlet moisture db after some hours of BDF."""
        end = solve_ivp(
            self.slope, (0.0, 3600.0 * hours), self.start(), "BDF", rtol=1e-6, atol=1e-8,
            vectorized=True, jac_sparsity=pattern, t_eval=[3600.0 * hours],
        ).y[:, -1]  # fmt: skip
        return float(end[: self.cells].reshape(-1, self.dryer.layers)[-1].mean())


def ours(dryer: dry.BeltDryer, run: dry.DryRun) -> float:
    """Outlet moisture db by our march."""
    return float(solve(dryer, run, scenarios(dryer, run)).moisture_db[0])


def run() -> list[Row]:
    fine = replace(DRYER, steps=640)
    clock = time.process_time
    # In a row, as a works asks for many settings: after the fine grid's large arrays the first
    # call finds its memory given back to the system, which costs it as much again.
    (small_s,) = median_seconds_of([lambda: ours(SMALL, RUN)], repeats=50, clock=clock)
    seconds = median_seconds_of(
        [lambda: ours(DRYER, RUN), lambda: ours(fine, RUN), lambda: dry.simulate(DRYER, RUN)],
        repeats=25,
        clock=clock,
    )
    in_time = InTime(SMALL, RUN)
    pattern = in_time.pattern()  # made before the clock starts, as a user of BDF would
    start = time.process_time()
    settled = in_time.settle(pattern, 25.0)  # ten belt times
    in_time_s = time.process_time() - start
    agreement = abs(ours(SMALL, RUN) / settled - 1.0)
    if agreement > 1e-6:
        raise AssertionError(f"off BDF by {agreement:.1e} on the same cells")
    start = time.process_time()
    exact = reference(DRYER, RUN)  # once: it takes many of our solves
    bdf = time.process_time() - start
    finest = ours(replace(DRYER, layers=32, steps=2560), RUN)
    small_error, grid_error = (abs(ours(d, RUN) / finest - 1.0) for d in (SMALL, DRYER))
    error, fine_error = (abs(ours(d, RUN) / exact - 1.0) for d in (DRYER, fine))
    small, usual, finer, spread = (1e3 * s for s in (small_s, *seconds))
    return [
        Row("one belt, 55 cells, 3 zones", small, None, None, "ms", "<= 4",
            f"processor time; 5 layers x 11 steps; outlet db off a 32 x 2560 grid by "
            f"{100 * small_error:.1f} %"),
        Row("same cells, BDF with sparsity", small, 1e3 * in_time_s, 1e3 * in_time_s / small, "ms",
            ">= 30", f"both to the same answer within {agreement:.0e}; BDF from a full wet belt"),
        Row("usual grid, BDF along the belt", usual, 1e3 * bdf, 1e3 * bdf / usual, "ms", ">= 10",
            f"8 x 40 cells; off BDF by {100 * error:.2f} %, off 32 x 2560 by "
            f"{100 * grid_error:.1f} %"),
        Row("same, 16 times finer along", finer, 1e3 * bdf, 1e3 * bdf / finer, "ms", "",
            f"off BDF by {100 * fine_error:.3f} %"),
        Row("simulate with its spread", spread, None, None, "ms", "<= 150",
            "processor time; 13 scenarios solved together"),
    ]  # fmt: skip
