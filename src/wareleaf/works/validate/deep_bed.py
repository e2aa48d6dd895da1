"""A deep bed that has a closed form: Hukill's logarithmic solution, against the wither's march."""

from __future__ import annotations

import numpy as np

from wareleaf import air
from wareleaf.stages._wither_bed import Blow, fresh_past, march
from wareleaf.stages._wither_leaf import Bed, State, balance
from wareleaf.works.validate.nist import Array

SOURCE = (
    "Hukill W.V. (1954), Drying of grain: m = 2^D/(2^D + 2^Y - 1) (from memory; checked by "
    "inserting it in dm/dt = -m theta, dtheta/dx = -m theta)"
)
# a depression so small that the heat of leaf and water, not in the equations, does not count
_START_DB, _INLET_C, _LEAST_C, _RATE_PER_S, _FLOW, _RATIO = 3.0, 30.0, 29.9, 1e-4, 0.3, 0.005
_DEPTH, _SPAN = 3.0, 4.0  # in the solution's natural units


def closed_form(depth: Array, time: Array) -> Array:
    """Moisture over its start, in natural units of depth and time."""
    return np.asarray(np.exp(depth) / (np.exp(depth) + np.exp(time) - 1.0))


def compare(layers: int, steps: int = 1200) -> tuple[Array, Array, Array, Array]:
    """Depths, times and the moisture ratio (time, depth) of the march and of the closed form.

    The bed's rate is k0 X (T - Tg)/(T0 - Tg), free of outer resistance and of sorption.
    """
    latent = air.LATENT_HEAT_0C_J_KG + (air.CP_VAPOUR_J_KG_K - air.CP_WATER_J_KG_K) * _INLET_C
    heat_air = air.CP_DRY_AIR_J_KG_K + air.CP_VAPOUR_J_KG_K * _RATIO
    dry = _DEPTH * _FLOW * heat_air * (_INLET_C - _LEAST_C) / (latent * _RATE_PER_S * _START_DB)
    celsius = np.linspace(-20.0, 69.0, 4451)
    # water activity and moisture of leaf that binds no water
    free, held = np.array([0.0, 1.0 - 1e-9, 1.0]), np.array([0.0, 1e-9, 10.0])
    bed = Bed(
        layer_dry_kg_m2=np.array([dry / layers]),
        layer_ha_w_m2_k=np.array([1e7]),
        specific_heat_dry_j_kg_k=1.0,
        film_kg_kg=1.0,
        saturation_c=celsius,
        saturation_pa=air.vapour_pressure_pa(air.humidity_ratio(celsius, 1.0), 101325.0),
        sorption_db=held,
        drying=balance(free, held),
        gaining=balance(free, held),
        rate_c=np.array([_LEAST_C, _INLET_C]),
        rate_per_s=np.array([0.0, _RATE_PER_S]),
    )
    duration_s = _SPAN / _RATE_PER_S
    shape = (layers, 1)
    state = State(np.full(shape, _START_DB), np.zeros(shape), np.full(shape, _LEAST_C))
    blow = Blow(
        step_s=duration_s / steps,
        mass_flow_kg_s_m2=np.full(steps, _FLOW),
        pressure_pa=np.full(steps, 101325.0),
        dry_bulb_c=np.full((steps, 1), _INLET_C),
        humidity_ratio=np.full((steps, 1), _RATIO),
    )
    trace = march(state, blow, bed, np.ones(1), fresh_past(state))
    depth = _DEPTH * (np.arange(layers) + 0.5) / layers
    time: Array = _RATE_PER_S * duration_s / steps * np.arange(1, steps + 1, dtype=np.float64)
    ours = np.asarray(trace.total_db[:, :, 0] / _START_DB)
    return depth, time, ours, closed_form(depth[None, :], time[:, None])
