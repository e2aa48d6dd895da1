"""The march of a bed through one zone: layers in depth, steps along the way.

A cell needs the leaf of the step before and the air of the layer before. Cells on a diagonal
(step + layer the same) need nothing of each other, so they are computed together, for all
scenarios at once: steps + layers calls in place of steps x layers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wareleaf.stages._dry_cell import (
    Air,
    Bed,
    Leaf,
    air_dry_bulb,
    air_enthalpy,
    cell,
    drive,
    series_rate,
    steady_c,
)
from wareleaf.stages._dry_tables import Tables
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


def march(bed: Bed, leaf: Leaf, inlet: Air) -> Pass:
    """March layers (scenario, layer) through the zone in air that enters constant."""
    rows, layers, steps = *leaf.moisture.shape, bed.steps
    kept_x, kept_c = _kept(leaf, steps)
    x, c = leaf.moisture.copy(), leaf.temperature_c.copy()
    # air that enters each layer (the last column: leaves the bed), and half its change there
    air_c = np.repeat(inlet.dry_bulb, layers + 1, axis=1)
    air_w = np.repeat(inlet.ratio, layers + 1, axis=1)
    half_c, half_w = np.zeros((rows, layers)), np.zeros((rows, layers))
    out = Air(np.empty((rows, steps)), np.empty((rows, steps)))
    hottest = inlet.dry_bulb[:, 0].copy()
    layer = np.arange(layers)
    for diagonal in range(layers + steps - 1):
        a, b = max(0, diagonal - steps + 1), min(layers, diagonal + 1)
        s, after = slice(a, b), slice(a + 1, b + 1)
        into = Air(air_c[:, s], air_w[:, s])
        (x1, c1), (t1, w1) = cell(
            bed, Leaf(x[:, s], c[:, s]), into, Air(half_c[:, s], half_w[:, s])
        )
        x[:, s], c[:, s] = x1, c1
        half_c[:, s], half_w[:, s] = 0.5 * (t1 - into.dry_bulb), 0.5 * (w1 - into.ratio)
        air_c[:, after], air_w[:, after] = t1, w1
        step = diagonal + 1 - layer[s]
        kept_x[:, layer[s], step], kept_c[:, layer[s], step] = x1, c1
        np.maximum(hottest, t1.max(axis=1), out=hottest)
        if b == layers:
            out.dry_bulb[:, diagonal - layers + 1] = t1[:, -1]
            out.ratio[:, diagonal - layers + 1] = w1[:, -1]
    return passed(kept_x, kept_c, out, hottest)


def _kept(leaf: Leaf, steps: int) -> tuple[Array, Array]:
    """Room for the leaf along the zone, its entry filled in."""
    shape = (*leaf.moisture.shape, steps + 1)
    kept_x, kept_c = np.empty(shape), np.empty(shape)
    kept_x[:, :, 0], kept_c[:, :, 0] = leaf
    return kept_x, kept_c


def passed(kept_x: Array, kept_c: Array, out: Air, hottest: Array) -> Pass:
    """Sum a zone up from the leaf along it and the air (scenario, step) that leaves."""
    enthalpy = air_enthalpy(out.dry_bulb, out.ratio)
    return Pass(
        moisture=kept_x,
        leaf_c=kept_c,
        exhaust_ratio=out.ratio.mean(axis=1),
        exhaust_enthalpy=enthalpy.mean(axis=1),
        exhaust_c=out.dry_bulb,
        air_max_c=hottest,
    )


def march_mixed_depth(bed: Bed, leaf: Leaf, inlet: Air) -> Pass:
    """As `march`, the solids mixed in depth after every step (a fluid bed in plug flow)."""
    rows, layers, steps = *leaf.moisture.shape, bed.steps
    leaf = mix(bed.tables, leaf)
    kept_x, kept_c = _kept(leaf, steps)
    half = [Air(np.zeros((rows, 1)), np.zeros((rows, 1))) for _ in range(layers)]
    out = Air(np.empty((rows, steps)), np.empty((rows, steps)))
    hottest = inlet.dry_bulb[:, 0].copy()
    for step in range(steps):
        air = inlet
        new = Leaf(np.empty((rows, layers)), np.empty((rows, layers)))
        for j in range(layers):
            one = Leaf(leaf.moisture[:, j : j + 1], leaf.temperature_c[:, j : j + 1])
            (x, c), next_air = cell(bed, one, air, half[j])
            new.moisture[:, j], new.temperature_c[:, j] = x[:, 0], c[:, 0]
            half[j] = Air(
                0.5 * (next_air.dry_bulb - air.dry_bulb), 0.5 * (next_air.ratio - air.ratio)
            )
            air = next_air
            np.maximum(hottest, air.dry_bulb[:, 0], out=hottest)
        leaf = mix(bed.tables, new)
        kept_x[:, :, step + 1], kept_c[:, :, step + 1] = leaf
        out.dry_bulb[:, step], out.ratio[:, step] = air.dry_bulb[:, 0], air.ratio[:, 0]
    return passed(kept_x, kept_c, out, hottest)


def mix(tables: Tables, leaf: Leaf) -> Leaf:
    """Mix the layers: mean moisture, and the temperature that keeps their enthalpy."""
    shape = leaf.moisture.shape
    x = leaf.moisture.mean(axis=1, keepdims=True)
    heat = tables.leaf_heat(*leaf).mean(axis=1, keepdims=True)
    mixed = np.broadcast_to(x, shape), np.broadcast_to(tables.leaf_c(heat, x), shape)
    return Leaf(mixed[0].copy(), mixed[1].copy())


def turn(tables: Tables, leaf: Leaf) -> tuple[Leaf, Array]:
    """Turn a bed: pieces mix, the water in them does not move from one to another.

    The layers go on with their mean moisture and their mean temperature by heat capacity. The heat
    of binding of the pieces is more than that of their mean, as it is convex; the difference stays
    with the leaf and is given, (scenario,) J/kg dry matter, so that the balance can count it.
    """
    capacity = tables.heat_dry + tables.heat_water * leaf.moisture
    x = leaf.moisture.mean(axis=1, keepdims=True)
    c = (capacity * leaf.temperature_c).sum(axis=1, keepdims=True)
    c = c / capacity.sum(axis=1, keepdims=True)
    hidden = tables.leaf_heat(*leaf).mean(axis=1) - tables.leaf_heat(x, c)[:, 0]
    shape = leaf.moisture.shape
    return Leaf(np.broadcast_to(x, shape).copy(), np.broadcast_to(c, shape).copy()), hidden


def tank(bed: Bed, leaf: Leaf, inlet: Air) -> Pass:
    """As `march`, the solids of the whole zone mixed: a tank at steady state.

    What leaves has the tank's moisture: ``(X_in - X)/t = N(X)``, N the mean over the layers of
    air. ``N`` grows with X, so the root is bracketed and found by bisection and secant (Illinois).
    """
    layers, steps = leaf.moisture.shape[1], bed.steps
    mixed = mix(bed.tables, leaf)
    entry = Leaf(mixed.moisture[:, :1], mixed.temperature_c[:, :1])
    x_in, c_in = entry
    stay = bed.dt_s * steps

    def short(x: Array) -> Array:
        return (x_in - x) / stay - _tank_state(bed, x, entry, inlet, layers)[0]

    still = Air(np.zeros_like(x_in), np.zeros_like(x_in))
    equilibrium = x_in - drive(bed, entry, inlet, still, 0.0).excess
    x = _root(short, np.full_like(x_in, 1e-6), np.maximum(x_in, 1.01 * equilibrium) + 1e-6, stay)
    lost = (x_in - x) / stay
    c = _tank_state(bed, x, entry, inlet, layers)[1]
    per_air = layers * bed.layer_kg_m2 / bed.flux
    w = inlet.ratio + per_air * lost
    given = (bed.tables.leaf_heat(x_in, c_in) - bed.tables.leaf_heat(x, c)) / stay
    t = air_dry_bulb(air_enthalpy(inlet.dry_bulb, inlet.ratio) + per_air * given, w)
    kept_x, kept_c = _kept(mixed, steps)
    kept_x[:, :, 1:], kept_c[:, :, 1:] = x[:, :, None], c[:, :, None]
    out = Air(np.repeat(t, steps, axis=1), np.repeat(w, steps, axis=1))
    return passed(kept_x, kept_c, out, np.maximum(inlet.dry_bulb, t)[:, 0])


def _tank_state(bed: Bed, x: Array, entry: Leaf, inlet: Air, layers: int) -> tuple[Array, Array]:
    """Mean rate and leaf temperature of a tank of moisture x; a cold feed holds both down."""
    heat = bed.tables.heat_dry + bed.tables.heat_water * entry.moisture
    stay = bed.dt_s * bed.steps

    def rate_and_c(c: Array) -> tuple[Array, Array]:
        rate, steady, warm = _tank_rate(bed, Leaf(x, c), inlet, layers)
        turn = warm * stay / heat
        return rate, (entry.temperature_c + turn * steady) / (1.0 + turn)

    low = np.minimum(entry.temperature_c, inlet.dry_bulb)
    high = np.maximum(entry.temperature_c, inlet.dry_bulb)
    c = _root(lambda c: rate_and_c(c)[1] - c, low, high, 1e-6)
    return rate_and_c(c)[0], c


def _root(short: Callable[[Array], Array], low: Array, high: Array, scale: Array | float) -> Array:
    """Root of a falling function by the Illinois rule, a row at a time."""
    f_low, f_high = short(low), short(high)
    side = np.zeros_like(low)
    x = 0.5 * (low + high)
    for _ in range(80):
        flat = f_high == f_low
        slope = np.where(flat, 1.0, f_high - f_low)
        x = np.where(flat, 0.5 * (low + high), (low * f_high - high * f_low) / slope)
        f = short(x)
        if np.all(np.abs(f) * scale < 1e-11 * (1.0 + np.abs(high))):
            break
        up = f > 0.0  # the root lies higher
        f_high = np.where(up & (side == 1.0), 0.5 * f_high, np.where(up, f_high, f))
        f_low = np.where(~up & (side == -1.0), 0.5 * f_low, np.where(up, f, f_low))
        low, high = np.where(up, x, low), np.where(up, high, x)
        side = np.where(up, 1.0, -1.0)
    return x


def _tank_rate(bed: Bed, leaf: Leaf, inlet: Air, layers: int) -> tuple[Array, Array, Array]:
    """Mean rate, leaf temperature that balances it and heat conductance, all layers alike."""
    x, c = leaf
    air = inlet
    rate, steady, warm = np.zeros_like(x), np.zeros_like(x), np.zeros_like(x)
    per_air = bed.layer_kg_m2 / bed.flux
    for _ in range(layers):
        half = Air(np.zeros_like(x), np.zeros_like(x))
        for _again in range(2):  # once at the air that enters, once midway
            d = drive(bed, leaf, air, half, 0.0)
            drying = series_rate(d.rate * np.maximum(d.excess, 0.0), d.outside)
            gaining = series_rate(d.rate * np.maximum(-d.excess, 0.0), d.uptake)
            lost = drying - gaining + d.dew
            leaf_c = steady_c(d, air.dry_bulb, lost)
            taken = per_air * lost
            # what evaporates brings the heat of water at the leaf's temperature; the leaf warms in
            # hot air and gives heat back to air that has cooled
            h = air_enthalpy(*air) + taken * bed.tables.heat_water * c
            h = h - per_air * d.warm * (leaf_c - c)
            left = Air(air_dry_bulb(h, air.ratio + taken), air.ratio + taken)
            half = Air(0.5 * (left.dry_bulb - air.dry_bulb), 0.5 * (left.ratio - air.ratio))
        rate, steady, warm = rate + lost, steady + d.warm * leaf_c, warm + d.warm
        air = left
    return rate / layers, steady / warm, warm / layers
