"""Where the inputs of a belt's cells come from, and the band that these links make of slopes.

A cell needs the leaf of the step before, the air of the layer before, and half of how the air
changed in the same layer a step before. Its own outputs are moisture, leaf temperature, dry bulb
and humidity ratio. A link is the number of a column: the cells step by step, then the inlets of the
zones, then the leaf that enters the belt.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wareleaf.stages._dry_tables import Tables
from wareleaf.stages.common import Array

IN, OUT = 7, 4
Index = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Links:
    """Links of the cells.

    ``band_at`` and ``slope_at`` say which slope goes where in the band, ``band_by`` by how much.
    """

    cells: int
    zones: int
    zone: Index
    leaf: Index  # column the leaf comes from
    air: Index  # column the air comes from
    before: Index  # the same layer a step earlier (for the air midway); in a first step the inlet
    before_air: Index
    from_inlet: Array  # 1 where the air comes from the inlet
    half_inlet: Array  # one half where it did a step earlier
    top: Index  # cells the air leaves the bed from
    share: Array  # (zone, step) weights of a zone's mean exhaust
    remix: tuple[tuple[Index, Index], ...]  # cells of a first step, cells they come from
    width: int
    band_at: Index
    slope_at: Index
    band_by: Array


@lru_cache(maxsize=64)
def links(
    steps: tuple[int, ...], down: tuple[bool, ...], remix: tuple[bool, ...], layers: int
) -> Links:
    """Links of the cells of a belt, made once for a geometry."""
    zone, leaf, air, before, before_air = ([] for _ in range(5))
    turned_beds, n, was_down = [], 0, False
    cells, zones = layers * sum(steps), len(steps)
    share = np.zeros((zones, sum(steps)))
    for z, count in enumerate(steps):
        share[z, n // layers : n // layers + count] = 1.0 / count
        if remix[z] and n:
            here = np.arange(n, n + layers)
            turned_beds.append((here, here - layers))
        inlet = cells + z
        for step in range(count):
            turned = step == 0 and down[z] != was_down
            for j in range(layers):
                k = layers - 1 - j if turned else j
                zone.append(z)
                leaf.append(n - layers + k if n else cells + zones)
                air.append(n + j - 1 if j else inlet)
                before.append(n - layers + j if step else inlet)
                before_air.append(n - layers + j - 1 if step and j else inlet)
            n += layers
        was_down = down[z]
    zone_of, leaves, airs, befores, befores_air = (
        np.array(a, dtype=np.intp) for a in (zone, leaf, air, before, before_air)
    )
    sources = [leaves, airs, befores, befores_air]
    band_at, slope_at, band_by = _band_plan(cells, sources, tuple(turned_beds))
    had_inlet = (befores < cells) & (befores_air >= cells)
    return Links(
        cells=cells, zones=zones, zone=zone_of,
        leaf=leaves, air=airs, before=befores, before_air=befores_air,
        from_inlet=np.where(airs >= cells, 1.0, 0.0),
        half_inlet=np.where(had_inlet, 0.5, 0.0),
        top=np.arange(layers - 1, n, layers),
        share=share,
        remix=tuple(turned_beds),
        width=OUT * (2 * layers) + OUT,
        band_at=band_at, slope_at=slope_at, band_by=band_by,
    )  # fmt: skip


def _band_plan(
    n: int, sources: list[Index], turned_beds: tuple[tuple[Index, Index], ...]
) -> tuple[Index, Index, Array]:
    """Place in the band, place among the slopes and factor of every link between cells."""
    leaves, airs, befores, befores_air = sources
    single = leaves.copy()
    for here, _ in turned_beds:
        single[here] = n
    # (source cell, its unknown, input of the slope, factor)
    ties = [(single, 0, 0, 1.0), (single, 1, 1, 1.0), (airs, 2, 2, 1.0), (airs, 3, 3, 1.0)]
    ties += [(befores, 2, 4, 0.5), (befores, 3, 5, 0.5)]
    ties += [(befores_air, 2, 4, -0.5), (befores_air, 3, 5, -0.5)]
    at, of, by = [], [], []
    for source, unknown, given, factor in ties:
        cells = np.flatnonzero(source < n)
        column = source[cells] * OUT + unknown
        for k in range(OUT):
            at.append((cells * OUT + k - column) * (n * OUT) + column)
            of.append((k * IN + given) * n + cells)
            by.append(np.full(cells.size, -factor))
    return np.concatenate(at), np.concatenate(of), np.concatenate(by)


def inputs(links: Links, columns: Array, tables: Tables) -> tuple[Array, list[Array]]:
    """Inputs of all cells, and of each turned bed the weights of its leaf temperature."""
    into = np.empty((IN, links.cells))
    into[:2] = columns[:2].take(links.leaf, axis=1)
    turns = []
    for here, there in links.remix:
        x, c = columns[:2, there]
        capacity = tables.heat_dry + tables.heat_water * x
        total = capacity.sum()
        mean = float((capacity * c).sum() / total)
        into[0, here], into[1, here] = x.mean(), mean
        by_x = tables.heat_water * (c - mean) / total
        turns.append(np.stack([np.full(x.size, 1.0 / x.size), by_x, capacity / total]))
    air = columns[2:]
    into[2:4] = air.take(links.air, axis=1)
    into[4:6] = 0.5 * (air.take(links.before, axis=1) - air.take(links.before_air, axis=1))
    into[6] = air[1, links.cells : -1].take(links.zone)
    return into, turns


def band(links: Links, slope: Array, turns: list[Array]) -> Array:
    """The unit lower triangle ``I - J`` in LAPACK's band storage."""
    made = np.zeros((links.width + 1, links.cells * OUT))
    made[0] = 1.0
    made.reshape(-1)[links.band_at] = slope.reshape(-1)[links.slope_at] * links.band_by
    for (here, there), (by_x, by_c_of_x, by_c) in zip(links.remix, turns, strict=True):
        row = here[:, None] * OUT + np.arange(OUT)[:, None, None]  # (output, cell, cell before)
        column = there * OUT
        x, c = (-slope[:, k, here[0] : here[-1] + 1, None] for k in (0, 1))
        made[row - column, column] = x * by_x + c * by_c_of_x
        made[row - column - 1, column + 1] = c * by_c
    return made


def by_inlet(links: Links, slope: Array) -> Array:
    """How each output of a cell hangs directly on its zone's inlet humidity, (output, cell)."""
    found: Array = slope[:, 6] + links.from_inlet * slope[:, 3] - links.half_inlet * slope[:, 5]
    return found
