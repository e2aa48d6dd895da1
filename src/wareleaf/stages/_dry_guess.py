"""A first guess of a belt: one layer in a few long steps a zone, by the cell's own rules in short.

It only starts Newton's rule, so dew, cold leaf and the heat of binding are left out, and the air is
taken as it enters a zone, which is looked up for all zones at once.
"""

from __future__ import annotations

from math import exp, expm1, log, log1p

import numpy as np
from scipy.special import wrightomega

from wareleaf.air.constants import CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K
from wareleaf.stages._dry_belt import Belt, Zones, air_through
from wareleaf.stages._dry_cell import air_dry_bulb, air_enthalpy
from wareleaf.stages._dry_links import OUT
from wareleaf.stages._dry_tables import look_up
from wareleaf.stages.common import Array

_LONG = 2
_LEAST = 1e-9


def guess(belt: Belt, zones: Zones) -> tuple[Array, Array]:
    """What leaves each cell, (output, cell), and the inlet humidities."""
    inlet = _inlets(belt, zones)
    seen = _long_steps(belt, zones, inlet)
    layers, fields = belt.layers, []
    depth = (np.arange(layers) + 1.0) / layers
    for z, stage in enumerate(belt.stages):
        along = (np.arange(stage.steps) + 1.0) / stage.steps
        knots = np.linspace(0.0, 1.0, seen.shape[1])
        x, c, t, w = (np.interp(along, knots, row)[:, None] for row in seen[z].T)
        field = np.empty((OUT, stage.steps, layers))
        field[0], field[1] = x, c
        field[2] = stage.inlet_c + (t - stage.inlet_c) * depth
        field[3] = inlet[z] + (w - inlet[z]) * depth
        fields.append(field.reshape(OUT, -1))
    return np.concatenate(fields, axis=1), inlet


def _inlets(belt: Belt, zones: Zones) -> Array:
    """Inlet humidities if each exhaust went half of the way to saturation."""
    r, w = zones.recirculated, np.full(zones.inlet_c.size, belt.ambient_ratio)
    _, wet = belt.tables.wet_bulb(air_enthalpy(zones.inlet_c, w), w)
    half = 0.5 * np.maximum(wet - w, 0.0)
    most = 0.9 * zones.limit_ratio
    found = w + half * np.minimum(r / (1.0 - 0.5 * r), 1.5)
    found = np.maximum(np.minimum(found, most), 0.5 * np.minimum(w, most))
    return np.where(r == 0.0, w, found)


def _long_steps(belt: Belt, zones: Zones, inlet: Array) -> Array:
    """Leaf and exhaust, (zone, end of long step, output); a zone starts with its first exhaust."""
    t, count = belt.tables, zones.inlet_c.size
    flux, conductance = air_through(belt, zones, inlet)
    heat = CP_DRY_AIR_J_KG_K + CP_VAPOUR_J_KG_K * inlet
    wet_c, wet_ratio = t.wet_bulb(air_enthalpy(zones.inlet_c, inlet), inlet)
    per_air = belt.layer_kg_m2 * belt.layers / flux
    saturation, rate = look_up(zones.table, zones.inlet_c, np.arange(count) * zones.rows)
    balanced = t.sorbed(zones.inlet_c, t.activity(saturation, inlet))
    columns = [zones.inlet_c, inlet, wet_c, wet_ratio - inlet, heat, per_air, conductance]
    columns += [belt.rate_factor * rate, balanced]
    seen = []
    x, c = belt.moisture, belt.leaf_c
    for stage, air in zip(belt.stages, np.stack(columns, axis=1).tolist(), strict=True):
        steps = [[x, c, 0.0, 0.0]]
        for _ in range(_LONG):
            steps.append(_step(belt, (x, c), air, stage.dt_s * stage.steps / _LONG))
            x, c = steps[-1][:2]
        steps[0][2:] = steps[1][2:]
        seen.append(steps)
    return np.array(seen)


def _step(belt: Belt, leaf: tuple[float, float], air: list[float], dt: float) -> list[float]:
    """Leaf and air after a step, see `_dry_cell`: moisture, leaf degC, dry bulb, humidity ratio."""
    t = belt.tables
    x, c = leaf
    dry_bulb, ratio, wet_c, pull, heat, per_air, conductance, k, xe = air
    units, over = conductance * per_air / heat, x - xe
    reach = -expm1(-units) / per_air
    lost = 0.0
    if over > _LEAST and pull > _LEAST and k > 0.0:
        outer = conductance / heat * pull
        z0 = outer / (k * over)
        z1 = max(float(wrightomega(z0 + log(z0) - units)), 1e-200)
        fall = max((z0 - z1) / z1, _LEAST)
        limit = outer * (z1 / z0) * fall / log1p(fall)
        y0 = k * over / limit
        lost = over - float(wrightomega(y0 + log(y0) - k * dt)) * limit / k
    share = min(max(lost / dt / (reach * max(pull, _LEAST)), 0.0), 1.0)
    steady = dry_bulb - (dry_bulb - wet_c) * share
    capacity = t.heat_dry + t.heat_water * x
    after = steady + (c - steady) * exp(-dt * reach * heat / capacity)
    given = capacity * c - (capacity - t.heat_water * lost) * after
    out_w = ratio + per_air * lost / dt
    h = air_enthalpy(dry_bulb, ratio) + per_air * given / dt
    return [x - lost, after, air_dry_bulb(h, out_w), out_w]
