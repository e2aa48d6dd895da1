"""The dryer at steady state: zone after zone, each closed on the humidity of its own inlet air.

Recirculated exhaust makes the inlet humidity of a zone depend on its own outcome:
``W = r E(W) + (1 - r) W_ambient``. That is one unknown a zone; it is solved directly by a secant
kept in a bracket, for all scenarios at once, never by letting a transient die out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wareleaf import leaf
from wareleaf.air import humidity_ratio, specific_volume_m3_kg
from wareleaf.measure import BadInput, moisture_db_from_wb
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_cell import Bed, air_enthalpy
from wareleaf.stages._dry_march import Pass, march, march_mixed_depth, mix, tank
from wareleaf.stages._dry_spec import Dryer, DryRun, FluidBed, TrayDryer, Zone, loading_kg_m2
from wareleaf.stages._dry_tables import Tables, rate_table, tables
from wareleaf.stages.common import Array

_STILL_M_S = 1e-6
_CLOSED = 1e-11  # kg/kg: water balance of a recirculating zone
_MOST = 40


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


@dataclass(frozen=True, eq=False)
class Solved:
    """All zones, and the leaf that leaves the last."""

    tables: Tables
    scenarios: Scenarios
    zones: tuple[ZoneState, ...]
    moisture_db: Array  # (scenario,) mean over depth
    leaf_c: Array  # (scenario,) by enthalpy
    leaf_max_c: Array


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
    )


def zone_steps(dryer: Dryer, zone: Zone) -> int:
    """Steps along one zone."""
    return max(3, round(dryer.steps * zone.share))


def solve(dryer: Dryer, run: DryRun, many: Scenarios) -> Solved:
    """Solve all scenarios of a run through all zones."""
    profile = run.leaf_profile()
    props = tables(profile, run.pressure_pa)
    layers = dryer.layers
    x = np.repeat(many.moisture_db[:, None], layers, axis=1)
    c = np.repeat(many.leaf_c[:, None], layers, axis=1)
    done: list[ZoneState] = []
    hottest = c.max(axis=1)
    for index, zone in enumerate(dryer.zones):
        if zone.remix and not isinstance(dryer, FluidBed):
            bed = _bed(dryer, run, profile, zone, many, props)
            x, c = mix(bed, x, c)
        state = _zone(dryer, run, profile, props, many, zone, index, x, c)
        done.append(state)
        x, c = state.moisture[:, :, -1], state.leaf_c[:, :, -1]
        hottest = np.maximum(hottest, state.leaf_c.max(axis=(1, 2)))
    heat = props.leaf_heat(x, c).mean(axis=1)
    mean_x = x.mean(axis=1)
    return Solved(props, many, tuple(done), mean_x, props.leaf_c(heat, mean_x), hottest)


def _bed(
    dryer: Dryer,
    run: DryRun,
    profile: leaf.LeafProfile,
    zone: Zone,
    many: Scenarios,
    props: Tables,
) -> Bed:
    """The bed of a zone, its air flux still to be set."""
    factor = dryer.rate_factor if isinstance(dryer, FluidBed) else 1.0
    rows = len(many)
    return Bed(
        tables=props,
        rates=rate_table(profile, zone.velocity_m_s),
        rate_factor=(factor * many.rate_multiplier)[:, None],
        flux=np.ones((rows, 1)),
        layer_kg_m2=(many.dry_load_kg_m2 / dryer.layers)[:, None],
        conductance=np.ones((rows, 1)),
    )


def _zone(
    dryer: Dryer,
    run: DryRun,
    profile: leaf.LeafProfile,
    props: Tables,
    many: Scenarios,
    zone: Zone,
    index: int,
    x: Array,
    c: Array,
) -> ZoneState:
    steps = zone_steps(dryer, zone)
    inlet_c = many.ambient_c if zone.inlet_c is None else many.inlet_c[:, index]
    if zone.velocity_m_s < _STILL_M_S:
        still_x, still_c = (np.repeat(a[:, :, None], steps + 1, axis=2) for a in (x, c))
        nothing = np.zeros(len(many))
        return ZoneState(zone, None, still_x, still_c, inlet_c, many.ambient_ratio, nothing)
    down = zone.direction == "down"
    if down:
        x, c = x[:, ::-1], c[:, ::-1]
    bed = _bed(dryer, run, profile, zone, many, props)
    dt_s = (many.residence_h * 3600.0 * zone.share / steps)[:, None]
    walk = march
    if isinstance(dryer, FluidBed):
        walk = march_mixed_depth if dryer.mixing == "plug" else tank
    area = dryer.exposure * profile.specific_surface_m2_kg

    def once(ratio: Array, rows: Array) -> tuple[Pass, Array]:
        """March the zone for the scenarios in ``rows`` at these inlet humidities."""
        volume = specific_volume_m3_kg(inlet_c[rows], ratio, run.pressure_pa)
        flux = zone.velocity_m_s / volume
        heat = transfer_w_m2_k(flux * (1.0 + ratio), profile.half_thickness_m)
        here = replace(
            bed,
            rate_factor=bed.rate_factor[rows],
            flux=flux[:, None],
            layer_kg_m2=bed.layer_kg_m2[rows],
            conductance=(area * heat)[:, None],
        )
        air_c, air_w = inlet_c[rows][:, None], ratio[:, None]
        return walk(here, x[rows], c[rows], air_c, air_w, dt_s[rows], steps), flux

    ratio, result, flux = _closed(once, zone, many, inlet_c, props)
    moisture, leaf_c = result.moisture, result.leaf_c
    if down:
        moisture, leaf_c = moisture[:, ::-1], leaf_c[:, ::-1]
    return ZoneState(zone, result, moisture, leaf_c, inlet_c, ratio, flux)


def _closed(
    once: Callable[[Array, Array], tuple[Pass, Array]],
    zone: Zone,
    many: Scenarios,
    inlet_c: Array,
    props: Tables,
) -> tuple[Array, Pass, Array]:
    """Inlet humidity ratio that returns itself, by a bracketed secant on all scenarios.

    Returns the humidity ratio, the zone marched with it and its air flux.
    """
    r, ambient, n = zone.recirculated, many.ambient_ratio, len(many)
    rows = np.arange(n)
    if r == 0.0:
        return (ambient, *once(ambient, rows))

    def short(w: Array, exhaust: Array) -> Array:
        found: Array = r * exhaust + (1.0 - r) * np.tile(ambient, w.size // n) - w
        return found

    low, high = np.zeros(n), _most_ratio(inlet_c, props)
    guess = _first_guess(r, ambient, inlet_c, high, props)
    pair = np.concatenate([0.5 * (guess + ambient), guess])
    both = short(pair, once(pair, np.tile(rows, 2))[0].exhaust_ratio)
    (w0, w1), (f0, f1) = np.split(pair, 2), np.split(both, 2)
    low, high = _bracket(low, high, w0, f0)
    for _ in range(_MOST):
        low, high = _bracket(low, high, w1, f1)
        slope = np.where(w1 == w0, -1.0, (f1 - f0) / np.where(w1 == w0, 1.0, w1 - w0))
        new = w1 - f1 / np.minimum(slope, -1e-3)
        new = np.where((new < low) | (new > high), 0.5 * (low + high), new)
        new = np.where(np.abs(f1) < 0.01 * _CLOSED, w1, new)
        w0, f0, w1 = w1, f1, new
        result, flux = once(w1, rows)
        f1 = short(w1, result.exhaust_ratio)
        if np.all(np.abs(f1) < _CLOSED):
            return w1, result, flux
    raise BadInput(
        "recirculated",
        r,
        f"recirculated is {r:g}: the humidity of this zone does not settle; recirculate less.",
    )


def _bracket(low: Array, high: Array, w: Array, f: Array) -> tuple[Array, Array]:
    """Tighten the bracket by one point: too dry where the zone returns more than it was given."""
    return np.where(f > 0.0, np.maximum(low, w), low), np.where(f < 0.0, np.minimum(high, w), high)


def _most_ratio(inlet_c: Array, props: Tables) -> Array:
    """Just under saturation at the inlet temperature (or at the top of the table)."""
    return 0.999 * props.saturated_ratio(np.minimum(inlet_c, props.wet_c[-1]))


def _first_guess(r: float, ambient: Array, inlet_c: Array, most: Array, props: Tables) -> Array:
    """Inlet humidity if the exhaust went half of the way to saturation."""
    w = ambient
    for _ in range(8):
        _, wet, _ = props.wet_bulb(air_enthalpy(inlet_c, w), w)
        goal = r * (w + 0.5 * (wet - w)) + (1.0 - r) * ambient
        w = np.minimum(w + 0.7 * (goal - w) / (1.0 - 0.7 * r), 0.9 * most)
    return np.maximum(w, 0.5 * np.minimum(ambient, most))
