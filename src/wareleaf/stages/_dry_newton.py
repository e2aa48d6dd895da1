"""One belt or tray run at once: every cell of every zone by Newton's rule.

The march visits the cells one diagonal after another, several times a zone until the inlet humidity
returns itself. For a single run numpy's overhead rules there. Here all cells of all zones are
computed in one call, each with its inputs moved a little, which gives the residuals and the
Jacobian. That is banded and lower triangular (a cell needs only cells before it) but for one column
a recirculating zone, its inlet humidity, which is eliminated. The start is a march of one layer and
a few long steps, on which the cells are stable. The equations are those of the march; where Newton
does not come home in a few steps the march is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dtbtrs

from wareleaf.air import specific_volume_m3_kg
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_cell import Air, Bed, Leaf, air_enthalpy, cell
from wareleaf.stages._dry_tables import Tables
from wareleaf.stages.common import Array

_MOST, _LONG = 12, 2
_MOVED = np.array([1e-6, 1e-4, 1e-4, 1e-7, 1e-4, 1e-7, 1e-7])
# the last change; what is left after it is its square (1e-11 and less where it was measured)
_SMALL = np.array([1e-5, 2e-5, 2e-5, 1e-8])
_IN, _OUT = 7, 4
Index = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Stage:
    """One zone: constants of its cells, SI units."""

    steps: int
    down: bool
    remix: bool
    recirculated: float
    inlet_c: float
    velocity_m_s: float
    dt_s: float
    by_dry_bulb: Array


@dataclass(frozen=True, eq=False)
class Belt:
    """All zones, the leaf that enters (layers alike) and the ambient humidity."""

    tables: Tables
    stages: tuple[Stage, ...]
    layers: int
    layer_kg_m2: float
    surface_m2_kg: float
    half_thickness_m: float
    rate_factor: float
    moisture: float
    leaf_c: float
    ambient_ratio: float


@dataclass(frozen=True, eq=False)
class Fields:
    """What leaves each cell, (step of all zones, layer from the air's side), and the inlets."""

    moisture: Array
    leaf_c: Array
    air_c: Array
    ratio: Array
    inlet_ratio: Array
    flux: Array


@dataclass(frozen=True, eq=False)
class _Plan:
    """Where the inputs of a cell come from: numbers of cells, step by step; -1: from outside.

    ``band_at`` and ``slope_at`` say which slope goes where in the band, ``band_by`` by how much.
    """

    zone: Index
    leaf: Index  # cell the leaf comes from
    air: Index  # cell the air comes from
    before: Index  # the same layer a step earlier (for the air midway)
    before_air: Index
    width: int
    top: Index  # cells the air leaves the bed from
    share: Array  # (zone, step) weights of a zone's mean exhaust
    remix: tuple[tuple[Index, Index], ...]  # cells of a first step, cells they come from
    band_at: Index
    slope_at: Index
    band_by: Array


@lru_cache(maxsize=64)
def plan(
    steps: tuple[int, ...], down: tuple[bool, ...], remix: tuple[bool, ...], layers: int
) -> _Plan:
    """Links of the cells of a belt, made once for a geometry."""
    zone, leaf, air, before, before_air = ([] for _ in range(5))
    turned_beds, n, was_down = [], 0, False
    share = np.zeros((len(steps), sum(steps)))
    for z, count in enumerate(steps):
        share[z, n // layers : n // layers + count] = 1.0 / count
        if remix[z] and n:
            here = np.arange(n, n + layers)
            turned_beds.append((here, here - layers))
        for step in range(count):
            turned = step == 0 and down[z] != was_down
            for j in range(layers):
                k = layers - 1 - j if turned else j
                zone.append(z)
                leaf.append(n - layers + k if n else -1)
                air.append(n + j - 1 if j else -1)
                before.append(n - layers + j if step else -1)
                before_air.append(n - layers + j - 1 if step and j else -1)
            n += layers
        was_down = down[z]
    zones, leaves, airs, befores, befores_air = (
        np.array(a, dtype=np.intp) for a in (zone, leaf, air, before, before_air)
    )
    single = leaves.copy()
    for here, _ in turned_beds:
        single[here] = -1
    # (source cell, its unknown, input of the slope, factor)
    ties = [(single, 0, 0, 1.0), (single, 1, 1, 1.0), (airs, 2, 2, 1.0), (airs, 3, 3, 1.0)]
    ties += [(befores, 2, 4, 0.5), (befores, 3, 5, 0.5)]
    ties += [(befores_air, 2, 4, -0.5), (befores_air, 3, 5, -0.5)]
    at, of, by = [], [], []
    for source, unknown, given, factor in ties:
        cells = np.flatnonzero(source >= 0)
        column = source[cells] * _OUT + unknown
        for k in range(_OUT):
            at.append((cells * _OUT + k - column) * (n * _OUT) + column)
            of.append((k * _IN + given) * n + cells)
            by.append(np.full(cells.size, -factor))
    return _Plan(
        zone=zones, leaf=leaves, air=airs, before=befores, before_air=befores_air,
        width=_OUT * (2 * layers) + _OUT,
        top=np.arange(layers - 1, n, layers),
        share=share,
        remix=tuple(turned_beds),
        band_at=np.concatenate(at), slope_at=np.concatenate(of), band_by=np.concatenate(by),
    )  # fmt: skip


def solve_belt(belt: Belt) -> Fields | None:
    """All cells of a belt at steady state; None where Newton does not come home."""
    links = _links(belt)
    state, inlet = _start(belt, links)
    back = np.array([s.recirculated for s in belt.stages])
    limit = belt.tables.saturated_ratio(np.array([s.inlet_c for s in belt.stages]))
    n, zones = links.plan.zone.size, len(belt.stages)
    for _ in range(_MOST):
        given, turns = _given(belt, links, state, inlet)
        moved = (given[:, None, :] + links.offsets).reshape(_IN, -1)
        out = _cells(belt, links, moved).reshape(_OUT, _IN + 1, n)
        slope = (out[:, 1:] - out[:, :1]) / _MOVED[None, :, None]
        right = np.zeros((n * _OUT, 1 + zones), order="F")
        right[:, 0] = (out[:, 0] - state).T.ravel()
        _inlet_columns(links, slope, right)
        found, failed = dtbtrs(_band(links, slope, turns), right, uplo="L", diag="U")
        if failed:
            return None
        found = found.reshape(n, _OUT, 1 + zones)
        # close the inlets: w = r mean(exhaust) + (1 - r) ambient
        top = found[links.plan.top, 3]
        ends = state[3, links.plan.top]
        share = links.plan.share
        lhs = np.eye(zones) - back[:, None] * (share @ top[:, 1:])
        rhs = back * (share @ (ends + top[:, 0])) + (1.0 - back) * belt.ambient_ratio - inlet
        step = np.linalg.solve(lhs, rhs)
        change = (found[:, :, 0] + found[:, :, 1:] @ step).T
        part = min(1.0, 30.0 / (float(np.abs(change[1:3]).max()) + 1e-30))
        state = state + part * change
        np.clip(state[0], 1e-6, 50.0, out=state[0])
        np.clip(state[1:3], -25.0, 165.0, out=state[1:3])
        np.clip(state[3], 1e-8, 5.0, out=state[3])
        inlet = np.clip(inlet + part * step, 1e-8, np.maximum(limit, belt.ambient_ratio))
        if not np.all(np.isfinite(state)):
            return None
        if np.all(np.abs(change).max(axis=1) < _SMALL):
            return _finished(belt, links, state, inlet, limit)
    return None


@dataclass(frozen=True, eq=False)
class _Links:
    """The plan with what each call of the cells and the band needs, made once a solve."""

    plan: _Plan
    offsets: Array
    table: Array
    lane: Index
    inlet_c: Array
    velocity: Array
    dt_s: Array


def _links(belt: Belt) -> _Links:
    stages = belt.stages
    made = plan(
        tuple(s.steps for s in stages),
        tuple(s.down for s in stages),
        tuple(s.remix for s in stages),
        belt.layers,
    )
    rows = stages[0].by_dry_bulb.shape[0]
    of = np.tile(made.zone, _IN + 1)
    offsets = np.concatenate([np.zeros((1, _IN)), np.diag(_MOVED)]).T[:, :, None]

    def each(values: list[float]) -> Array:
        return np.array(values)[of]

    return _Links(
        plan=made,
        offsets=offsets,
        table=np.concatenate([s.by_dry_bulb for s in belt.stages]),
        lane=of * rows,
        inlet_c=each([s.inlet_c for s in belt.stages]),
        velocity=each([s.velocity_m_s for s in belt.stages]),
        dt_s=each([s.dt_s for s in belt.stages]),
    )


def _start(belt: Belt, links: _Links) -> tuple[Array, Array]:
    """A first guess from one layer in a few long steps a zone."""
    n, layers = links.plan.zone.size, belt.layers
    state, inlet = np.empty((_OUT, n)), np.empty(len(belt.stages))
    x, c = np.array([belt.moisture]), np.array([belt.leaf_c])
    at = 0
    depth = (np.arange(layers) + 1.0) / layers
    for z, stage in enumerate(belt.stages):
        long = min(_LONG, stage.steps)
        ratio = np.array([_first_ratio(belt, stage)])
        flux, transfer = _air(belt, np.array([stage.inlet_c]), ratio, stage.velocity_m_s)
        bed = Bed(
            tables=belt.tables,
            by_dry_bulb=stage.by_dry_bulb,
            rate_factor=np.array([belt.rate_factor]),
            flux=flux,
            layer_kg_m2=np.array([belt.layer_kg_m2 * layers]),
            conductance=belt.surface_m2_kg * transfer,
            dt_s=np.array([stage.dt_s * stage.steps / long]),
            steps=1,
        )
        air = Air(np.array([stage.inlet_c]), ratio)
        half = Air(np.zeros(1), np.zeros(1))
        seen = [[x[0], c[0], np.nan, np.nan]]
        for _ in range(long):
            (x, c), out = cell(bed, Leaf(x, c), air, half)
            half = Air(0.5 * (out.dry_bulb - air.dry_bulb), 0.5 * (out.ratio - air.ratio))
            seen.append([x[0], c[0], out.dry_bulb[0], out.ratio[0]])
        seen[0][2:] = seen[1][2:]
        knots, along = np.array(seen), (np.arange(stage.steps) + 1.0) / stage.steps
        places = np.linspace(0.0, 1.0, long + 1)
        fine = [np.interp(along, places, knots[:, k]) for k in range(_OUT)]
        here = slice(at, at + stage.steps * layers)
        state[0, here] = np.repeat(fine[0], layers)
        state[1, here] = np.repeat(fine[1], layers)
        for k, value in ((2, stage.inlet_c), (3, ratio[0])):
            state[k, here] = (value + (fine[k][:, None] - value) * depth).ravel()
        inlet[z] = ratio[0]
        at += stage.steps * layers
    return state, inlet


def _first_ratio(belt: Belt, stage: Stage) -> float:
    """Inlet humidity if the exhaust went half of the way to saturation."""
    r, w = stage.recirculated, belt.ambient_ratio
    if r == 0.0:
        return w
    t = np.array([stage.inlet_c])
    _, wet = belt.tables.wet_bulb(air_enthalpy(t, np.array([w])), np.array([w]))
    half = 0.5 * max(float(wet[0]) - w, 0.0)
    most = 0.9 * float(belt.tables.saturated_ratio(t)[0])
    guess = w + half * min(r / (1.0 - 0.5 * r), 1.5)
    return max(min(guess, most), 0.5 * min(w, most))


def _air(belt: Belt, inlet_c: Array, ratio: Array, velocity: Array | float) -> tuple[Array, Array]:
    volume = specific_volume_m3_kg(inlet_c, ratio, belt.tables.pressure_pa)
    flux = velocity / volume
    return flux, transfer_w_m2_k(flux * (1.0 + ratio), belt.half_thickness_m)


def _cells(belt: Belt, links: _Links, given: Array) -> Array:
    x, c, t, w, half_c, half_w, inlet = given
    flux, transfer = _air(belt, links.inlet_c, inlet, links.velocity)
    bed = Bed(
        tables=belt.tables,
        by_dry_bulb=links.table,
        rate_factor=np.array(belt.rate_factor),
        flux=flux,
        layer_kg_m2=np.array(belt.layer_kg_m2),
        conductance=belt.surface_m2_kg * transfer,
        dt_s=links.dt_s,
        steps=1,
        lane=links.lane,
    )
    (x1, c1), (t1, w1) = cell(bed, Leaf(x, c), Air(t, w), Air(half_c, half_w))
    return np.stack([x1, c1, t1, w1])


def _given(belt: Belt, links: _Links, state: Array, inlet: Array) -> tuple[Array, list[Array]]:
    """Inputs of all cells, and of each turned bed the weights of its leaf temperature."""
    p, n = links.plan, state.shape[1]
    into = np.empty((_IN, n))
    into[0] = np.where(p.leaf < 0, belt.moisture, state[0, p.leaf])
    into[1] = np.where(p.leaf < 0, belt.leaf_c, state[1, p.leaf])
    turns = []
    for here, there in links.plan.remix:
        x, c = state[0, there], state[1, there]
        capacity = belt.tables.heat_dry + belt.tables.heat_water * x
        total = capacity.sum()
        mean = float((capacity * c).sum() / total)
        into[0, here], into[1, here] = x.mean(), mean
        turns.append(
            np.stack([np.full(x.size, 1.0 / x.size), belt.tables.heat_water * (c - mean) / total,
                      capacity / total])
        )  # fmt: skip
    w_in, t_in = inlet[p.zone], links.inlet_c[:n]
    into[2] = np.where(p.air < 0, t_in, state[2, p.air])
    into[3] = np.where(p.air < 0, w_in, state[3, p.air])
    for row, base, at in ((4, 2, t_in), (5, 3, w_in)):
        entered = np.where(p.before_air < 0, at, state[base, p.before_air])
        half = 0.5 * (state[base, p.before] - entered)
        into[row] = np.where(p.before < 0, 0.0, half)
    into[6] = w_in
    return into, turns


def _inlet_columns(links: _Links, slope: Array, right: Array) -> None:
    """How each cell hangs directly on the inlet humidity of its zone."""
    p, n = links.plan, slope.shape[2]
    direct = slope[:, 6] + np.where(p.air < 0, slope[:, 3], 0.0)
    direct = direct - np.where((p.before >= 0) & (p.before_air < 0), 0.5 * slope[:, 5], 0.0)
    shaped = right.reshape(n, _OUT, right.shape[1])
    shaped[np.arange(n)[:, None], np.arange(_OUT), 1 + p.zone[:, None]] = direct.T
    right[:] = shaped.reshape(right.shape)


def _band(links: _Links, slope: Array, turns: list[Array]) -> Array:
    """The unit lower triangle ``I - J`` in LAPACK's band storage."""
    p, n = links.plan, slope.shape[2]
    band = np.zeros((p.width + 1, n * _OUT))
    band[0] = 1.0
    flat = band.reshape(-1)
    flat[p.band_at] = slope.reshape(-1)[p.slope_at] * p.band_by
    for (here, there), (by_x, by_c_of_x, by_c) in zip(links.plan.remix, turns, strict=True):
        for k in range(_OUT):
            row, a = (here * _OUT + k)[:, None], (there * _OUT)[None, :]
            by_turn = np.outer(slope[k, 0, here], by_x) + np.outer(slope[k, 1, here], by_c_of_x)
            band[row - a, a] = -by_turn
            band[row - a - 1, a + 1] = -np.outer(slope[k, 1, here], by_c)
    return band


def _finished(belt: Belt, links: _Links, state: Array, inlet: Array, limit: Array) -> Fields | None:
    recirculating = np.array([s.recirculated > 0.0 for s in belt.stages])
    if np.any(recirculating & (inlet >= 0.999999 * limit)):
        return None  # what drains is left to the march
    set_c = np.array([s.inlet_c for s in belt.stages])
    speed = np.array([s.velocity_m_s for s in belt.stages])
    shape = (-1, belt.layers)
    x, c, t, w = (row.reshape(shape) for row in state)
    return Fields(x, c, t, w, inlet, _air(belt, set_c, inlet, speed)[0])
