"""A blade in moving air: wet bulb, a resisting surface, a wet pan."""

from __future__ import annotations

import math

import numpy as np

from wareleaf import air
from wareleaf.stages import slab, slab_air, slab_blade, slab_dry
from wareleaf.works.validate.case import Found, Plot, Runs, at_most, near

_LOOSE = slab_blade.Blade("tea_black", 2.5e-4, 1e-8, 0.0)  # water comes as fast as it goes


def _wet_bulb() -> Found:
    checks, ours, wet_points = [], [], []
    for dry, humidity in ((25.0, 0.5), (40.0, 0.3), (60.0, 0.1), (80.0, 0.05), (110.0, 0.01)):
        spec = slab_air.SlabAir((dry,), (humidity,))
        wet = float(air.wet_bulb_c(dry, air.humidity_ratio(dry, humidity)))
        found = slab_dry.simulate(_LOOSE, slab_blade.BladeRun(0.9, 2.0, wet + 3.0), spec)
        middle = int(np.searchsorted(found.time_h, 0.5 * found.constant_rate_h))
        leaf_c = float(found.leaf_c[middle])
        checks.append(near(f"wet blade at {dry:g} degC", "degC", leaf_c, wet, within=0.02))
        end = float(found.leaf_c[-1])
        ours.append((dry, leaf_c))
        wet_points.append((dry, wet))
    checks.append(near("the last one when it is dry", "degC", end, 110.0, within=0.5))
    pan = slab_blade.Blade("tea_black", 0.01, 1e-6, 0.0)
    humid = float(air.relative_humidity(65.6, 0.010))
    wind = slab_air.SlabAir((65.6,), (humid,), heat_transfer_w_m2_k=62.45)
    rate = slab_dry.simulate(pan, slab_blade.BladeRun(0.9, 1.0, 28.9), wind).rate_kg_h_m2[30]
    checks.append(
        near("pan of 0.457 m square", "kg/h", float(rate) * 0.457**2, 0.708, relative=0.02)
    )
    plot = Plot("dry bulb, degC", "leaf, degC", {"wet bulb": wet_points}, {"wet blade": ours})
    return Found(tuple(checks), plot)


def _resisted() -> Found:
    checks, lines, points = [], {}, {}
    for biot in (0.3, 2.0, 20.0):
        blade = slab.Slab(1e-3, 2e-10, surface_m_s=biot * 2e-10 / 1e-3, cells=80)
        run = slab.SlabRun(9.0, (0.0,), (0.1,), 3.0 / min(1.0, biot))
        found = slab.simulate(blade, run)
        exact = slab.series(blade, 9.0, 0.1, found.time_h)
        name = f"L = {biot:g}"
        far = float(np.abs(found.mean_db - exact)[2:].max())
        checks.append(at_most(f"largest distance from the series, {name}", "kg/kg", far, 0.009))
        root = float(slab.biot_roots(biot, 1)[0])
        checks.append(
            near(f"root of b tan b, {name}", "1", root * math.tan(root), biot, within=1e-9)
        )
        fourier = found.time_h * 3600.0 * 2e-10 / 1e-6
        lines[f"series, {name}"] = list(zip(fourier.tolist(), exact.tolist(), strict=True))
        points[f"cells, {name}"] = list(
            zip(fourier[::8].tolist(), found.mean_db[::8].tolist(), strict=True)
        )
    # Crank, table of the roots of b tan b = L; as remembered.
    first = float(slab.biot_roots(1.0, 1)[0])
    checks.append(near("first root for L = 1", "1", first, 0.8603, within=5e-5))
    return Found(tuple(checks), Plot("D t/L2", "moisture, kg/kg dry", lines, points))


RUNS: Runs = {"slab-wet-bulb": _wet_bulb, "slab-crank-resistance": _resisted}
