"""A tunnel over trays: wet trays against the closed form, and worked examples of textbooks."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from wareleaf import air
from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.air.constants import CP_DRY_AIR_J_KG_K, CP_VAPOUR_J_KG_K
from wareleaf.stages import dry
from wareleaf.stages._dry_tunnel_solve import tray_transfer_w_m2_k
from wareleaf.works.validate.case import Found, Plot, Runs, near

_INLET_C, _TRAYS_M2, _FREE_M2 = 65.0, 60.0, 0.5
_AMBIENT_C, _AMBIENT_RH = 20.0, 0.5


def _wet_trays() -> Found:
    """Leaf that stays wet, so fast inside and so briefly dried that only the air counts."""
    ratio = float(air.humidity_ratio(_AMBIENT_C, _AMBIENT_RH))
    wet_c = float(air.wet_bulb_c(_INLET_C, ratio))
    run = dry.DryRun(
        "tea_black", 0.75, 1.0, feed_kg_h=3000.0, ambient_c=_AMBIENT_C, ambient_rh=_AMBIENT_RH,
        leaf_c=wet_c, rate_multiplier=20.0,
    )  # fmt: skip
    checks, ours, closed = [], {}, []
    flows: tuple[Literal["counter", "co"], ...] = ("counter", "co")
    for flow in flows:
        tunnel = dry.TunnelDryer(_TRAYS_M2, _FREE_M2, _INLET_C, 3.0, flow, loading_max_kg_m2=200.0)
        made = dry.simulate_tunnel(tunnel, run, with_spread=False)
        flow_kg_s = made.dry_air_kg / 3600.0
        heat_w_k = flow_kg_s * (CP_DRY_AIR_J_KG_K + ratio * CP_VAPOUR_J_KG_K)
        flux = np.array(flow_kg_s * (1.0 + ratio) / _FREE_M2)
        units = float(tray_transfer_w_m2_k(flux)) * _TRAYS_M2 / heat_w_k
        closed = [
            (x, wet_c + (_INLET_C - wet_c) * math.exp(-units * x)) for x in np.linspace(0, 1, 25)
        ]
        evaporated = heat_w_k * (_INLET_C - closed[-1][1]) / float(air.latent_heat_j_kg(wet_c))
        checks += [
            near(f"exhaust, {flow}-current", "degC", made.exhaust_c, closed[-1][1], within=0.1),
            near(
                f"water in an hour, {flow}-current", "kg",
                made.water_removed_kg, 3600.0 * evaporated, relative=0.01,
            ),
            near(f"leaf at the end, {flow}-current", "degC",
                 made.curve_leaf_c[-1], wet_c, within=0.05),
        ]  # fmt: skip
        along = np.linspace(0.0, 1.0, len(made.curve_air_c))
        way = along if flow == "co" else 1.0 - along
        ours[f"{flow}-current"] = sorted(zip(way.tolist(), made.curve_air_c, strict=True))[::6]
    plot = Plot("way of the air, of the whole", "air, degC", {"closed form": closed}, ours)
    return Found(tuple(checks), plot)


def _examples() -> Found:
    """The heat transfer and the balances of a tunnel against two textbooks."""
    pan_h = float(tray_transfer_w_m2_k(np.array(6.1 * 1.037)))
    pan = pan_h * (65.6 - 28.9) / 2.433e6 * 0.457**2 * 3600.0
    dry_kg, loss = 0.125 * 0.6, 20e3
    gone = dry_kg * (0.4 / 0.6 - 0.05)
    wet, made = 880.0 + CP_WATER_J_KG_K * 0.4 / 0.6, 880.0 + CP_WATER_J_KG_K * 0.05
    inlet = float(air.enthalpy_j_kg(385.0 - 273.15, 0.006))

    def short(flow: float) -> float:
        outlet = float(air.enthalpy_j_kg(310.0 - 273.15, 0.006 + gone / flow))
        return flow * (inlet - outlet - loss) - dry_kg * (made * 31.85 - wet * 21.85)

    flow = float(brentq(short, 0.5, 20.0))
    checks = (
        near("Geankoplis 9.6-3: water from a pan", "kg/h", pan, 0.708, relative=0.01),
        near("Coulson and Richardson 16.3: dry air", "kg/s", flow, 2.07, relative=0.01),
        near(
            "Coulson and Richardson 16.3: humidity out", "kg/kg", 0.006 + gone / flow, 0.0284,
            relative=0.01,
        ),
    )  # fmt: skip
    flows = np.linspace(1.5, 2.6, 23)
    line = [(float(f), short(float(f)) / 1e3) for f in flows]
    plot = Plot("dry air, kg/s", "heat left over, kW", {"16.3": line}, {"printed": [(2.07, 0.0)]})
    note = (
        "The row's 0.0588 kg/s of water does not go with its own 2.07 kg/s and 0.0284 (0.0464, as "
        "here); it is not held. The solid's heat capacity, 0.88 kJ/(kg K), is from memory."
    )
    return Found(checks, plot, note)


RUNS: Runs = {"tunnel-wet-trays": _wet_trays, "tunnel-examples": _examples}
