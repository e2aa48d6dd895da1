"""One belt or tray run at once: every cell of every zone by Newton's rule.

The march visits the cells one diagonal after another, several times a zone until the inlet humidity
returns itself. For a single run numpy's overhead rules there. Here all cells of all zones are
computed in one call, each with its inputs moved a little, which gives the residuals and the
Jacobian. That is banded and lower triangular (a cell needs only cells before it) but for one column
a recirculating zone, its inlet humidity, which is eliminated. Near the solution the last Jacobian
serves on (a chord step), and only the residuals are computed. The equations are those of the march;
where Newton does not come home in a few steps the march is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dtbtrs

from wareleaf.stages._dry_belt import Belt, Fields, air_through, zones_of
from wareleaf.stages._dry_cell import Air, Bed, Leaf, cell
from wareleaf.stages._dry_guess import guess
from wareleaf.stages._dry_links import IN, OUT, Index, Links, band, by_inlet, inputs, links
from wareleaf.stages.common import Array

_MOST = 12
_MOVED = np.array([1e-6, 1e-4, 1e-4, 1e-7, 1e-4, 1e-7, 1e-7])
_INLET_MOVED = np.array([[0.0], [_MOVED[-1]]])
_OFFSETS = np.concatenate([np.zeros((1, IN)), np.diag(_MOVED)]).T[:, :, None]
# the last change, by output; what is left after it is at most a hundredth, 1e-9 where measured
_SMALL = np.array([1e-5, 2e-5, 2e-5, 1e-8])
# a change after which the Jacobian is good enough to be kept: it takes errors down a thousandfold
_NEAR = 5e3  # times _SMALL
_LOW = np.array([1e-6, -25.0, -25.0, 1e-8])[:, None]
_HIGH = np.array([50.0, 165.0, 165.0, 5.0])[:, None]


@dataclass(frozen=True, eq=False)
class _Lanes:
    """What the lanes of one call of the cells need: all cells, each as it is and moved."""

    zone: Index  # of the inlets as they are, then of the inlets moved
    table: Index
    dt_s: Array
    moved: Array  # (1 or 2, 1): how far the inlets are moved

    def first(self, cells: int) -> _Lanes:
        """The cells as they are."""
        return _Lanes(self.zone[:cells], self.table[:cells], self.dt_s[:cells], self.moved[:1])


@dataclass(frozen=True, eq=False)
class _Jacobian:
    """The band, and how all outputs (output, cell) hang on the inlet of each zone."""

    band: Array
    by_inlet: Array  # (zone, cell * output)
    closing: Array  # (zone, zone): of the inlets, all cells following


class _Solver:
    """Columns of a belt (see `Links`) on the way to its steady state."""

    def __init__(self, belt: Belt) -> None:
        self.belt, self.zones = belt, zones_of(belt)
        self.links: Links = links(
            tuple(s.steps for s in belt.stages),
            tuple(s.down for s in belt.stages),
            tuple(s.remix for s in belt.stages),
            belt.layers,
        )
        n, count = self.links.cells, self.links.zones
        state, inlet = guess(belt, self.zones)
        self.columns = np.zeros((OUT, n + count + 1))
        self.state, self.inlet = self.columns[:, :n], self.columns[3, n:-1]
        self.state[:], self.inlet[:] = state, inlet
        self.columns[2, n:-1] = self.zones.inlet_c
        self.columns[:2, -1] = belt.moisture, belt.leaf_c
        zone = np.tile(self.links.zone, IN + 1)
        own = zone.copy()
        own[IN * n :] += count
        self.lanes = _Lanes(own, zone * self.zones.rows, self.zones.dt_s.take(zone), _INLET_MOVED)

    def cells(self, given: Array, lanes: _Lanes) -> Array:
        """Outputs of cells for inputs (input, lane)."""
        belt, (x, c, t, w, half_c, half_w, _) = self.belt, given
        flux, conductance = air_through(belt, self.zones, self.inlet + lanes.moved)
        bed = Bed(
            tables=belt.tables,
            by_dry_bulb=self.zones.table,
            rate_factor=np.array(belt.rate_factor),
            flux=flux.take(lanes.zone),
            layer_kg_m2=np.array(belt.layer_kg_m2),
            conductance=conductance.take(lanes.zone),
            dt_s=lanes.dt_s,
            steps=1,
            lane=lanes.table,
        )
        (x1, c1), (t1, w1) = cell(bed, Leaf(x, c), Air(t, w), Air(half_c, half_w))
        return np.stack([x1, c1, t1, w1])

    def newton(self) -> tuple[Array, _Jacobian]:
        """Newton's step (cell, output) with the inlets held, and the Jacobian."""
        p, n = self.links, self.links.cells
        given, turns = inputs(p, self.columns, self.belt.tables)
        moved = (given[:, None, :] + _OFFSETS).reshape(IN, -1)
        out = self.cells(moved, self.lanes).reshape(OUT, IN + 1, n)
        slope = (out[:, 1:] - out[:, :1]) / _MOVED[None, :, None]
        right = np.zeros((1 + p.zones, n, OUT))
        right[0] = (out[:, 0] - self.state).T
        right[1 + p.zone, np.arange(n)] = by_inlet(p, slope).T
        triangle = band(p, slope, turns)
        found = _solved(triangle, right)
        top = found[1:, p.top, 3]
        closing = np.eye(p.zones) - self.zones.recirculated[:, None] * (p.share @ top.T)
        return found[0], _Jacobian(triangle, found[1:].reshape(p.zones, -1), closing)

    def chord(self, kept: _Jacobian) -> Array:
        """The step (cell, output) with the inlets held, by a Jacobian of before."""
        given, _ = inputs(self.links, self.columns, self.belt.tables)
        out = self.cells(given, self.lanes.first(self.links.cells))
        return _solved(kept.band, (out - self.state).T[None])[0]

    def change(self, alone: Array, by: _Jacobian) -> float:
        """Close the inlets and move the columns; how far, in units of ``_SMALL``."""
        p, back = self.links, self.zones.recirculated
        # w = r mean(exhaust) + (1 - r) ambient
        ends = self.state[3, p.top] + alone[p.top, 3]
        rhs = back * (p.share @ ends) + (1.0 - back) * self.belt.ambient_ratio - self.inlet
        step = np.linalg.solve(by.closing, rhs)
        change = (alone + (step @ by.by_inlet).reshape(-1, OUT)).T
        far = np.abs(change).max(axis=1)
        part = min(1.0, 30.0 / (float(far[1:3].max()) + 1e-30))
        self.state[:] = np.minimum(np.maximum(self.state + part * change, _LOW), _HIGH)
        most = np.maximum(self.zones.limit_ratio, self.belt.ambient_ratio)
        self.inlet[:] = np.minimum(np.maximum(self.inlet + part * step, 1e-8), most)
        return float((far / _SMALL).max())

    def finished(self) -> Fields | None:
        """The fields; None where a zone drains, which is left to the march."""
        zones, inlet = self.zones, self.inlet.copy()
        if np.any((zones.recirculated > 0.0) & (inlet >= 0.999999 * zones.limit_ratio)):
            return None
        x, c, t, w = (row.reshape(-1, self.belt.layers) for row in self.state)
        return Fields(x, c, t, w, inlet, air_through(self.belt, zones, inlet)[0])


def _solved(triangle: Array, right: Array) -> Array:
    """Right hand sides (one, cell, output) by a unit lower triangle, which is never singular."""
    flat = np.ascontiguousarray(right).reshape(right.shape[0], -1)
    found, _ = dtbtrs(triangle, flat.T, uplo="L", diag="U", overwrite_b=1)
    made: Array = found.T.reshape(right.shape)
    return made


def solve_belt(belt: Belt) -> Fields | None:
    """All cells of a belt at steady state; None where Newton does not come home."""
    solver = _Solver(belt)
    far, kept = np.inf, None  # the size of the last change, the Jacobian to go on with
    for _ in range(_MOST):
        if kept is None:
            step, kept = solver.newton()
            enough = 1.0
        else:
            step, enough = solver.chord(kept), 0.01 * far
        last, far = far, solver.change(step, kept)
        if not np.isfinite(far):
            return None
        if far < min(enough, 1.0):
            return solver.finished()
        if far > min(_NEAR, 0.1 * last):
            kept = None
    return None
