"""The dryer at steady state: zone after zone, each closed on the humidity of its own inlet air.

Recirculated exhaust makes the inlet humidity of a zone depend on its own outcome:
``W = r E(W) + (1 - r) W_ambient``. That is one unknown a zone; it is solved directly by a secant
kept in a bracket, for all scenarios at once, never by letting a transient die out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.air import specific_volume_m3_kg
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_cell import Air, Bed, Leaf, air_enthalpy
from wareleaf.stages._dry_figures import fluid_rate_factor_name, number
from wareleaf.stages._dry_heat_source import after_coil
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_march import Pass, march, march_mixed_depth, tank, turn
from wareleaf.stages._dry_single import at_once
from wareleaf.stages._dry_spec import Dryer, FluidBed, Zone
from wareleaf.stages._dry_state import (
    STILL_M_S,
    Scenarios,
    Solved,
    ZoneState,
    duty_j_kg,
    flame_ratio,
    scenarios,
    zone_steps,
)
from wareleaf.stages._dry_tables import by_dry_bulb, tables
from wareleaf.stages.common import Array

__all__ = ["Scenarios", "Solved", "ZoneState", "duty_j_kg", "scenarios", "solve", "zone_steps"]

_NEAR = 1e-5  # of the moisture the air takes up: from there on a linear step closes the zone
_FLOOR = 1e-13  # kg/kg
_FLAMES, _FLAME_NEAR = 12, 1e-9
_SMOOTH, _MOST = 6, 60  # secant steps before halving takes turns; steps in all


def solve(dryer: Dryer, run: DryRun, many: Scenarios) -> Solved:
    """Solve all scenarios of a run through all zones.

    With a direct-fired heater the vapour of the flame goes over the leaf: it follows from the heat,
    and the heat hardly from it, so a few rounds close it.
    """
    solved = _solve(dryer, run, many)
    if dryer.heater.kind != "direct":
        return solved
    for _ in range(_FLAMES):
        added = flame_ratio(dryer, solved)
        change = np.abs(added - solved.scenarios.added_ratio)
        if np.all(change <= _FLAME_NEAR * added + 1e-15):
            break
        solved = _solve(dryer, run, replace(many, added_ratio=added))
    return solved


def _solve(dryer: Dryer, run: DryRun, many: Scenarios) -> Solved:
    props = tables(run.leaf_profile(), run.pressure_pa)
    leaf = Leaf(
        np.repeat(many.moisture_db[:, None], dryer.layers, axis=1),
        np.repeat(many.leaf_c[:, None], dryer.layers, axis=1),
    )
    quick = at_once(dryer, run, many)
    done: list[ZoneState] = []
    hottest, hidden = leaf.temperature_c.max(axis=1), np.zeros(len(many))
    for index, zone in enumerate(dryer.zones):
        if zone.remix and not isinstance(dryer, FluidBed):
            leaf, more = turn(props, leaf)
            hidden = hidden + more
        state = _zone(dryer, run, many, index, leaf) if quick is None else quick[index]
        done.append(state)
        leaf = Leaf(state.moisture[:, :, -1], state.leaf_c[:, :, -1])
        hottest = np.maximum(hottest, state.leaf_c.max(axis=(1, 2)))
    (x, c), more = turn(props, leaf)
    return Solved(props, many, tuple(done), x[:, 0], c[:, 0], hottest, hidden + more)


@dataclass(frozen=True, eq=False)
class _Way:
    """One zone and the leaf that enters it, to be marched at several inlet humidities."""

    walk: Callable[[Bed, Leaf, Air], Pass]
    bed: Bed
    zone: Zone
    surface_m2_kg: float
    half_thickness_m: float
    leaf: Leaf
    inlet_c: Array
    ambient_ratio: Array

    def march(self, ratio: Array) -> tuple[Pass, Array]:
        """March at inlet humidity ratios (any multiple of the scenarios); also the air flux."""
        many = ratio.size // self.inlet_c.size

        def tile(a: Array) -> Array:
            return a if many == 1 else np.tile(a, (many, 1))

        inlet_c, bed = tile(self.inlet_c[:, None]), self.bed
        ratio = ratio[:, None]
        volume = specific_volume_m3_kg(inlet_c, ratio, bed.tables.pressure_pa)
        flux = self.zone.velocity_m_s / volume
        transfer = transfer_w_m2_k(flux * (1.0 + ratio), self.half_thickness_m)
        here = replace(
            bed,
            rate_factor=tile(bed.rate_factor),
            flux=flux,
            layer_kg_m2=tile(bed.layer_kg_m2),
            conductance=self.surface_m2_kg * transfer,
            dt_s=tile(bed.dt_s),
        )
        leaf = Leaf(tile(self.leaf.moisture), tile(self.leaf.temperature_c))
        return self.walk(here, leaf, Air(inlet_c, ratio)), flux[:, 0]


def _zone(dryer: Dryer, run: DryRun, many: Scenarios, index: int, leaf: Leaf) -> ZoneState:
    zone, profile = dryer.zones[index], run.leaf_profile()
    steps = zone_steps(dryer, zone)
    inlet_c = many.ambient_c if zone.inlet_c is None else many.inlet_c[:, index]
    if zone.velocity_m_s < STILL_M_S:
        still_x, still_c = (np.repeat(a[:, :, None], steps + 1, axis=2) for a in leaf)
        nothing = np.zeros(len(many))
        return ZoneState(
            zone, None, still_x, still_c, inlet_c, many.ambient_ratio, nothing, nothing
        )
    side = slice(None, None, -1) if zone.direction == "down" else slice(None)
    leaf = Leaf(leaf.moisture[:, side], leaf.temperature_c[:, side])
    walk, factor = march, 1.0
    if isinstance(dryer, FluidBed):
        walk = march_mixed_depth if dryer.mixing == "plug" else tank
        factor = dryer.rate_factor or number(fluid_rate_factor_name(profile.id))
    column = np.ones((len(many), 1))
    bed = Bed(
        tables=tables(profile, run.pressure_pa),
        by_dry_bulb=by_dry_bulb(profile, run.pressure_pa, zone.velocity_m_s),
        rate_factor=(factor * many.rate_multiplier)[:, None],
        flux=column,
        layer_kg_m2=(many.dry_load_kg_m2 / dryer.layers)[:, None],
        conductance=column,
        dt_s=(many.residence_h * 3600.0 * zone.share / steps)[:, None],
        steps=steps,
    )
    surface = dryer.exposure * profile.specific_surface_m2_kg
    thick, ambient = profile.half_thickness_m, many.ambient_ratio + many.added_ratio[:, index]
    way = _Way(walk, bed, zone, surface, thick, leaf, inlet_c, ambient)
    ratio, result, flux, drained = _closed(way)
    moisture, leaf_c = result.moisture[:, side], result.leaf_c[:, side]
    return ZoneState(zone, result, moisture, leaf_c, inlet_c, ratio, flux, drained)


def _closed(way: _Way) -> tuple[Array, Pass, Array, Array]:
    """Inlet humidity ratio that returns itself, by a bracketed secant on all scenarios.

    Leaf much hotter than the set point can drive the return air past saturation at that set point;
    then the inlet is saturated and the surplus drains (the zone needs cooling, and is told so).
    Near there the zone can jump between gathering dew and drying; then the drier side of the jump
    is taken, and what is over drains too.

    Returns the humidity ratio, the zone marched with it, its air flux and what drains.
    """
    r, ambient = way.zone.recirculated, way.ambient_ratio
    if r == 0.0:
        return (ambient, *way.march(ambient), np.zeros_like(ambient))
    limit = np.maximum(way.bed.tables.saturated_ratio(way.inlet_c), 1.0001 * ambient)
    low, high, guess = np.zeros_like(ambient), limit, _first_guess(way, 0.9 * limit)
    pair = np.stack([0.5 * (guess + ambient), guess])
    (first, old), (_, old_flux) = _halves(*way.march(pair.ravel()))
    w0, w1 = pair

    def short(p: Pass, w: Array) -> Array:
        back = after_coil(way.zone, way.bed.tables, p.exhaust_ratio, p.exhaust_enthalpy)[0]
        found: Array = r * back + (1.0 - r) * ambient - w
        return found

    f0, f1 = short(first, w0), short(old, w1)
    low, high = _bracket(low, high, w0, f0)
    for count in range(_MOST):
        low, high = _bracket(low, high, w1, f1)
        new, middle = w1 + _secant(w0, w1, f0, f1), 0.5 * (low + high)
        new = np.where(new <= low, middle, new)
        new = np.where(new >= high, np.where(high >= limit, limit, middle), new)
        if count > _SMOOTH and count % 2:
            new = middle
        w0, f0, w1 = w1, f1, np.where(np.abs(f1) < _FLOOR, w1, new)
        result, flux = way.march(w1)
        f1 = short(result, w1)
        full = (w1 >= limit) & (f1 > 0.0)
        near = np.abs(f1) < _NEAR * np.abs(result.exhaust_ratio - w1) + _FLOOR
        if np.all(full | near):
            span = np.where((w1 == w0) | full, np.inf, w1 - w0)
            part = _secant(w0, w1, f0, f1) / span
            last, flux = _beyond((old, old_flux), (result, flux), part)
            return w1 + part * (w1 - w0), last, flux, np.where(full, f1, 0.0)
        old, old_flux = result, flux
    low, high = _bracket(low, high, w1, f1)
    result, flux = way.march(low)
    return low, result, flux, short(result, low)


def _secant(w0: Array, w1: Array, f0: Array, f1: Array) -> Array:
    """Step from w1; the shortfall always falls as the inlet grows more humid."""
    slope = np.where(w1 == w0, -1.0, (f1 - f0) / np.where(w1 == w0, 1.0, w1 - w0))
    return -f1 / np.minimum(slope, -1e-3)


def _halves(both: Pass, flux: Array) -> tuple[tuple[Pass, Pass], tuple[Array, Array]]:
    """Split a march of two inlet humidities a scenario."""
    n = flux.size // 2

    def half(part: slice) -> Pass:
        return Pass(**{k: v[part] for k, v in vars(both).items()})

    return (half(slice(None, n)), half(slice(n, None))), (flux[:n], flux[n:])


def _beyond(old: tuple[Pass, Array], new: tuple[Pass, Array], part: Array) -> tuple[Pass, Array]:
    """The zone a small part of the last secant step further on, linearly.

    The step left is below 1e-5 of the humidity taken up, so what is neglected is its square; it
    saves a march. `Solved` is checked for closure like any other.
    """

    def line(a: Array, b: Array) -> Array:
        return b + part.reshape(-1, *([1] * (b.ndim - 1))) * (b - a)

    fields = {k: line(v, getattr(new[0], k)) for k, v in vars(old[0]).items()}
    return Pass(**fields), line(old[1], new[1])


def _bracket(low: Array, high: Array, w: Array, f: Array) -> tuple[Array, Array]:
    """Tighten the bracket by one point: too dry where the zone returns more than it was given."""
    return np.where(f > 0.0, np.maximum(low, w), low), np.where(f < 0.0, np.minimum(high, w), high)


def _first_guess(way: _Way, most: Array) -> Array:
    """Inlet humidity if the exhaust went half of the way to saturation."""
    r, ambient, props = way.zone.recirculated, way.ambient_ratio, way.bed.tables
    w = ambient
    for _ in range(8):
        _, wet = props.wet_bulb(air_enthalpy(way.inlet_c, w), w)
        goal = r * (w + 0.5 * (wet - w)) + (1.0 - r) * ambient
        w = np.minimum(w + 0.7 * (goal - w) / (1.0 - 0.7 * r), most)
    return np.maximum(w, 0.5 * np.minimum(ambient, most))
