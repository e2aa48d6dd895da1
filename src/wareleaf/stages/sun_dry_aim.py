"""Sun drying: how thick to spread for a target."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wareleaf.measure import moisture_db_from_wb, moisture_wb_from_db
from wareleaf.stages.common import Aim, Array, finite
from wareleaf.stages.sun_dry_march import Cases, march
from wareleaf.stages.sun_dry_spec import Ground, SunResult, SunRun

LIGHTEST_KG_M2, HEAVIEST_KG_M2 = 0.1, 40.0
_TRIED = 16


def _at_loads(ground: Ground, run: SunRun, loads_kg_m2: Array) -> Array:
    """Moisture wet basis over time (steps + 1, loads) of the nominal lot at several loads."""
    one = np.ones(loads_kg_m2.size)
    cases = Cases(
        rate=one,
        start_db=one * moisture_db_from_wb(run.moisture_wb),
        dry_kg_m2=loads_kg_m2 * (1.0 - run.moisture_wb),
        sun=one,
        outer=one,
    )
    return np.asarray(moisture_wb_from_db(march(ground, run, cases).moisture_db), dtype=float)


def aim(ground: Ground, run: SunRun, target_moisture_wb: float) -> Aim[SunResult]:
    """The thickest spread that is at the target at some hour of the run.

    Parameters
    ----------
    ground, run
        As for ``simulate``; the area is what is looked for, ``ground.area_m2`` is not used.
    target_moisture_wb : float
        Mean moisture wanted.

    Returns
    -------
    Aim
        ``load_kg_m2`` (wet, as spread), ``area_m2`` for this load and ``take_in_h``, the hour at
        which it is driest; when even 0.1 kg/m2 never gets there, that and the driest it is.
    """
    finite("target_moisture_wb", target_moisture_wb, 0.0, run.moisture_wb, above=True)
    percent = 100.0 * target_moisture_wb
    low, high = math.log(LIGHTEST_KG_M2), math.log(HEAVIEST_KG_M2)
    last = 0
    for _ in range(3):
        grid = np.linspace(low, high, _TRIED)
        driest = _at_loads(ground, run, np.exp(grid)).min(axis=0)
        there = np.flatnonzero(driest <= target_moisture_wb)
        if there.size == 0:
            told = (
                f"Not within {run.duration_h:.0f} h of this weather: even thin leaf never gets "
                f"below {100.0 * driest.min():.1f} %. Give it more days, or finish it in a dryer."
            )
            return _answer(ground, run, LIGHTEST_KG_M2, False, told)
        last = int(there[-1])
        if last == _TRIED - 1:
            break
        low, high = float(grid[last]), float(grid[last + 1])
    load = HEAVIEST_KG_M2 if last == _TRIED - 1 else math.exp(low)
    told = (
        f"Spread {load:.1f} kg/m2, that is {run.mass_kg / load:.0f} m2 for {run.mass_kg:.0f} kg, "
        f"to be at {percent:.1f} % within {run.duration_h:.0f} h."
    )
    return _answer(ground, run, load, True, told)


def _answer(ground: Ground, run: SunRun, load: float, reachable: bool, told: str) -> Aim[SunResult]:
    from wareleaf.stages.sun_dry import simulate

    area = run.mass_kg / load
    result = simulate(replace(ground, area_m2=area), run)
    settings = {"load_kg_m2": load, "area_m2": area, "take_in_h": result.driest_h}
    return Aim(settings, result, reachable, told)
