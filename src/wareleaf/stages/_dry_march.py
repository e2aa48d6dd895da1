"""The march of a bed through one zone: layers in depth, steps along the way.

A cell needs the leaf of the step before and the air of the layer before. Cells on a diagonal
(step + layer the same) need nothing of each other, so they are computed together, for all
scenarios at once: steps + layers calls in place of steps x layers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.stages._dry_cell import Bed, air_dry_bulb, air_enthalpy, cell, drive, series_rate
from wareleaf.stages.common import Array


@dataclass(frozen=True, eq=False)
class Pass:
    """One zone, marched once: arrays are (scenario, layer, step) or (scenario,).

    Layers are numbered from the side where the air enters.
    """

    moisture: Array  # with the entry state in step 0
    leaf_c: Array
    exhaust_ratio: Array  # mean over the zone
    exhaust_enthalpy: Array
    exhaust_c: Array  # (scenario, step)
    air_max_c: Array  # (scenario,)


def march(
    bed: Bed,
    moisture: Array,
    leaf_c: Array,
    dry_bulb: Array,
    ratio: Array,
    dt_s: Array,
    steps: int,
) -> Pass:
    """March layers (scenario, layer) through ``steps`` steps in air that enters constant."""
    rows, layers = moisture.shape
    kept_x = np.empty((rows, layers, steps + 1))
    kept_c = np.empty((rows, layers, steps + 1))
    kept_x[:, :, 0], kept_c[:, :, 0] = moisture, leaf_c
    x, c = moisture.copy(), leaf_c.copy()
    air_c = np.repeat(dry_bulb, layers + 1, axis=1)
    air_w = np.repeat(ratio, layers + 1, axis=1)
    out_c, out_w = np.empty((rows, steps)), np.empty((rows, steps))
    hottest = dry_bulb[:, 0].copy()
    layer = np.arange(layers)
    for diagonal in range(layers + steps - 1):
        a, b = max(0, diagonal - steps + 1), min(layers, diagonal + 1)
        s = slice(a, b)
        x1, c1, t1, w1 = cell(bed, x[:, s], c[:, s], air_c[:, s], air_w[:, s], dt_s)
        x[:, s], c[:, s] = x1, c1
        kept_x[:, layer[s], diagonal + 1 - layer[s]] = x1
        kept_c[:, layer[s], diagonal + 1 - layer[s]] = c1
        air_c[:, a + 1 : b + 1], air_w[:, a + 1 : b + 1] = t1, w1
        np.maximum(hottest, t1.max(axis=1), out=hottest)
        if b == layers:
            out_c[:, diagonal - layers + 1] = t1[:, -1]
            out_w[:, diagonal - layers + 1] = w1[:, -1]
    return Pass(
        kept_x,
        kept_c,
        out_w.mean(axis=1),
        air_enthalpy(out_c, out_w).mean(axis=1),
        out_c,
        hottest,
    )


def march_mixed_depth(
    bed: Bed,
    moisture: Array,
    leaf_c: Array,
    dry_bulb: Array,
    ratio: Array,
    dt_s: Array,
    steps: int,
) -> Pass:
    """As `march`, the solids mixed in depth after every step (a fluid bed in plug flow)."""
    rows, layers = moisture.shape
    kept_x = np.empty((rows, layers, steps + 1))
    kept_c = np.empty((rows, layers, steps + 1))
    x, c = mix(bed, moisture, leaf_c)
    kept_x[:, :, 0], kept_c[:, :, 0] = x, c
    out_c, out_w = np.empty((rows, steps)), np.empty((rows, steps))
    hottest = dry_bulb[:, 0].copy()
    for step in range(steps):
        t, w = dry_bulb, ratio
        new_x, new_c = np.empty_like(x), np.empty_like(c)
        for j in range(layers):
            s = slice(j, j + 1)
            new_x[:, s], new_c[:, s], t, w = cell(bed, x[:, s], c[:, s], t, w, dt_s)
            np.maximum(hottest, t[:, 0], out=hottest)
        x, c = mix(bed, new_x, new_c)
        kept_x[:, :, step + 1], kept_c[:, :, step + 1] = x, c
        out_c[:, step], out_w[:, step] = t[:, 0], w[:, 0]
    return Pass(
        kept_x,
        kept_c,
        out_w.mean(axis=1),
        air_enthalpy(out_c, out_w).mean(axis=1),
        out_c,
        hottest,
    )


def mix(bed: Bed, moisture: Array, leaf_c: Array) -> tuple[Array, Array]:
    """Mix the layers: mean moisture, and the temperature that keeps their enthalpy."""
    x = np.broadcast_to(moisture.mean(axis=1, keepdims=True), moisture.shape)
    heat = bed.tables.leaf_heat(moisture, leaf_c).mean(axis=1, keepdims=True)
    return x.copy(), np.broadcast_to(bed.tables.leaf_c(heat, x[:, :1]), x.shape).copy()


def tank(
    bed: Bed,
    moisture: Array,
    leaf_c: Array,
    dry_bulb: Array,
    ratio: Array,
    dt_s: Array,
    steps: int,
) -> Pass:
    """As `march`, the solids of the whole zone mixed: a tank at steady state.

    What leaves has the tank's moisture: ``(X_in - X)/t = N(X)``, N the mean over the layers of
    air. ``N`` grows with X, so the root is bracketed and found by bisection and secant (Illinois).
    """
    x_in, c_in = mix(bed, moisture, leaf_c)
    x_in, c_in = x_in[:, :1], c_in[:, :1]
    stay = dt_s * steps
    layers = moisture.shape[1]

    def short(x: Array) -> Array:
        return (x_in - x) / stay - _tank_rate(bed, x, dry_bulb, ratio, layers)[0]

    low, high = np.full_like(x_in, 1e-6), x_in + 0.0
    high = np.maximum(high, bed.tables.equilibrium(dry_bulb, ratio) + 1e-6)
    f_low, f_high = short(low), short(high)
    side = np.zeros_like(low)
    for _ in range(80):
        slope = np.where(f_high == f_low, 1.0, f_high - f_low)
        x = np.where(f_high == f_low, 0.5 * (low + high), (low * f_high - high * f_low) / slope)
        f = short(x)
        up = f > 0.0  # dries too slowly to be this dry: the root is wetter
        f_high = np.where(up & (side == 1), 0.5 * f_high, np.where(up, f_high, f))
        f_low = np.where(~up & (side == -1), 0.5 * f_low, np.where(up, f, f_low))
        low, high = np.where(up, x, low), np.where(up, high, x)
        side = np.where(up, 1.0, -1.0)
        if np.all(np.abs(f) * stay < 1e-13 * (1.0 + x_in)):
            break
    lost, steady, warm = _tank_rate(bed, x, dry_bulb, ratio, layers)
    lost = (x_in - x) / stay
    heat = bed.tables.heat_dry + bed.tables.heat_water * x
    turn = warm * stay / heat
    c = (c_in + turn * steady) / (1.0 + turn)
    per_air = layers * bed.layer_kg_m2 / bed.flux
    w = ratio + per_air * lost
    given = (bed.tables.leaf_heat(x_in, c_in) - bed.tables.leaf_heat(x, c)) / stay
    h = air_enthalpy(dry_bulb, ratio) + per_air * given
    shape = (moisture.shape[0], layers, steps + 1)
    kept_x, kept_c = np.broadcast_to(x[:, :, None], shape), np.broadcast_to(c[:, :, None], shape)
    kept_x, kept_c = kept_x.copy(), kept_c.copy()
    kept_x[:, :, 0], kept_c[:, :, 0] = x_in, c_in
    out = np.repeat(air_dry_bulb(h, w), steps, axis=1)
    return Pass(kept_x, kept_c, w[:, 0], h[:, 0], out, np.maximum(dry_bulb, out)[:, :1].max(axis=1))


def _tank_rate(
    bed: Bed, x: Array, dry_bulb: Array, ratio: Array, layers: int
) -> tuple[Array, Array, Array]:
    """Mean rate, leaf temperature that balances it and heat conductance, all layers at x."""
    t, w = dry_bulb, ratio
    rate, steady, warm = np.zeros_like(x), np.zeros_like(x), np.zeros_like(x)
    per_air = bed.layer_kg_m2 / bed.flux
    for _ in range(layers):
        h = air_enthalpy(t, w)
        d = drive(bed, x, t, w, h)
        excess = x - d.equilibrium
        drying = series_rate(d.rate * np.maximum(excess, 0.0), d.outside)
        gaining = series_rate(d.rate * np.maximum(-excess, 0.0), d.uptake)
        n = drying - gaining
        share = np.minimum(drying / (d.outside + 1e-14), 1.0)
        leaf_c = t - (t - d.wet_c) * share
        rate, steady, warm = rate + n, steady + d.warm * leaf_c, warm + d.warm
        # the air along the bed: what evaporates leaves as vapour from water at the leaf's heat
        w = w + per_air * n
        t = air_dry_bulb(h + per_air * n * bed.tables.heat_water * leaf_c, w)
    return rate / layers, steady / warm, warm / layers
