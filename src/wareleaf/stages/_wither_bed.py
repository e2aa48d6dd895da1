"""The bed: air rises through layers of leaf, cools and moistens; leaf dries and cools.

A cell (one layer, one step) needs the air of the cell below and the leaf of the step before, so
all cells on a diagonal are solved at once, for any number of cases side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.stages._wither_cell import Bed, Cells, EnteringAir, State
from wareleaf.stages.common import Array


@dataclass(frozen=True)
class Blow:
    """Air of steps of one length in one direction: (steps,) and (steps, cases)."""

    step_s: float
    mass_flow_kg_s_m2: Array
    pressure_pa: Array
    dry_bulb_c: Array
    humidity_ratio: Array


@dataclass(frozen=True)
class Trace:
    """What a blow did: (steps, layers, cases) in flow order, and the outlet (steps, cases)."""

    total_db: Array
    leaf_c: Array
    out_c: Array
    out_w: Array


def march(state: State, blow: Blow, bed: Bed, rate_factor: Array) -> Trace:
    """Carry the bed through a blow; layers in flow order; ``state`` is changed in place.

    Parameters
    ----------
    rate_factor : ndarray
        (cases,) multiplies the internal rate constant.
    """
    layers, cases = state.moisture_db.shape
    steps = blow.mass_flow_kg_s_m2.size
    diagonals = steps + layers - 1
    total = np.empty((diagonals, layers, cases))
    leaf = np.empty((diagonals, layers, cases))
    air_c = np.empty((layers + 1, cases))
    air_w = np.empty((layers + 1, cases))
    out_c = np.empty((diagonals, cases))
    out_w = np.empty((diagonals, cases))
    # Guess of a leaf's next change: its last one, and how far the layer before was off its own.
    trend, news = np.zeros((layers, cases)), np.zeros((layers + 1, cases))
    flow = np.repeat(blow.mass_flow_kg_s_m2[::-1, None], cases, axis=1)
    pressure = np.repeat(blow.pressure_pa[::-1, None], cases, axis=1)
    for d in range(diagonals):
        low, high = max(0, d - steps + 1), min(layers, d + 1)
        if d < steps:
            air_c[0], air_w[0] = blow.dry_bulb_c[d], blow.humidity_ratio[d]
        lane = slice(low, high)
        when = slice(steps - 1 - d + low, steps - 1 - d + high)
        entering = EnteringAir(air_c[lane], air_w[lane], flow[when], pressure[when])
        held = State(state.moisture_db[lane], state.film_db[lane], state.leaf_c[lane])
        cells = Cells(held, entering, bed, rate_factor, blow.step_s)
        after, out = cells.solve(held.leaf_c + trend[lane] + news[lane])
        moved = after.leaf_c - held.leaf_c
        news[low + 1 : high + 1] = moved - trend[lane]
        trend[lane] = moved
        state.moisture_db[lane] = after.moisture_db
        state.film_db[lane] = after.film_db
        state.leaf_c[lane] = after.leaf_c
        air_c[low + 1 : high + 1], air_w[low + 1 : high + 1] = out
        total[d] = state.moisture_db + state.film_db
        leaf[d] = state.leaf_c
        out_c[d], out_w[d] = air_c[layers], air_w[layers]
    step, layer = np.arange(steps)[:, None], np.arange(layers)[None, :]
    return Trace(
        total_db=total[step + layer, layer],
        leaf_c=leaf[step + layer, layer],
        out_c=out_c[layers - 1 :],
        out_w=out_w[layers - 1 :],
    )
