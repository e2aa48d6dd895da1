"""The bed: air rises through layers of leaf, cools and moistens; leaf dries and cools.

A cell (one layer, one step) needs the air of the cell below and the leaf of the step before, so
all cells on a diagonal are solved at once, for any number of cases side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.air.constants import CP_DRY_AIR_J_KG_K, LATENT_HEAT_0C_J_KG
from wareleaf.stages._wither_cell import Cells, EnteringAir, Still, still
from wareleaf.stages._wither_leaf import Bed, Past, State
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


def fresh_past(state: State) -> Past:
    """Of a bed that has no step behind it in this air."""
    return Past(*np.zeros((len(Past._fields), *state.moisture_db.shape)))


def _turns(blow: Blow) -> Array:
    """How far the wet bulb of the entering air leaves its last line, K; steers a guess only."""
    steep = 2.4e3  # J/(kg K): latent heat times the slope of saturated air, at about 20 degC
    enthalpy = CP_DRY_AIR_J_KG_K * blow.dry_bulb_c + LATENT_HEAT_0C_J_KG * blow.humidity_ratio
    bends = np.zeros_like(enthalpy)
    bends[2:] = np.diff(enthalpy, 2, axis=0)
    return bends / (CP_DRY_AIR_J_KG_K + steep)


def march(state: State, blow: Blow, bed: Bed, rate_factor: Array, past: Past) -> Trace:
    """Carry the bed through a blow; layers in flow order.

    Parameters
    ----------
    state, past : State and Past
        Of the bed; changed in place.
    rate_factor : ndarray
        (cases,) multiplies the internal rate constant.
    """
    layers, cases = state.moisture_db.shape
    steps = blow.mass_flow_kg_s_m2.size
    diagonals = steps + layers - 1
    total, leaf = np.empty((2, diagonals, layers, cases))
    out_c, out_w = np.empty((2, diagonals, cases))
    air_c, air_w = np.empty((2, layers + 1, cases))
    # Guess of a leaf's next change: its last one, and how far the layer before was off its own.
    trend, news = np.zeros((layers, cases)), np.zeros((layers + 1, cases))
    turns = _turns(blow)
    constant = still(bed, rate_factor, blow.step_s, layers)
    flow = np.repeat(blow.mass_flow_kg_s_m2[::-1, None], cases, axis=1)
    pressure = np.repeat(blow.pressure_pa[::-1, None], cases, axis=1)
    at = slice(0)
    for d in range(diagonals):
        low, high = max(0, d - steps + 1), min(layers, d + 1)
        if d < steps:
            air_c[0], air_w[0], news[0] = blow.dry_bulb_c[d], blow.humidity_ratio[d], turns[d]
        if at != slice(low, high):
            at, after = slice(low, high), slice(low + 1, high + 1)
            held, memory = State(*(a[at] for a in state)), Past(*(a[at] for a in past))
            fixed = Still(*(a[at] for a in constant))
            into_c, into_w, last, told = air_c[at], air_w[at], trend[at], news[at]
        when = slice(steps - 1 - d + low, steps - 1 - d + high)
        cells = Cells(
            held, memory, EnteringAir(into_c, into_w, flow[when], pressure[when]), bed, fixed
        )
        was = held.leaf_c.copy()
        air_c[after], air_w[after] = cells.solve(was + last + told)
        moved = held.leaf_c - was
        news[after] = moved - last
        last[...] = moved
        np.add(state.moisture_db, state.film_db, out=total[d])
        leaf[d], out_c[d], out_w[d] = state.leaf_c, air_c[layers], air_w[layers]
    step, layer = np.arange(steps)[:, None], np.arange(layers)[None, :]
    return Trace(
        total_db=total[step + layer, layer],
        leaf_c=leaf[step + layer, layer],
        out_c=out_c[layers - 1 :],
        out_w=out_w[layers - 1 :],
    )
