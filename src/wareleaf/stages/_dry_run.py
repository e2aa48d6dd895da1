"""Simulate a dryer: the run itself and its uncertain neighbours, solved together."""

from __future__ import annotations

import numpy as np

from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_result import DryResult, build
from wareleaf.stages._dry_solve import solve
from wareleaf.stages._dry_spec import Dryer
from wareleaf.stages._dry_spread import NAMES, cubature, vary
from wareleaf.stages.common import spread_wb


def simulate(dryer: Dryer, run: DryRun, *, with_spread: bool = True) -> DryResult:
    """Dry a lot: outlet moisture and its spread, leaf temperatures, air, heat, power and fuel.

    Parameters
    ----------
    dryer : BeltDryer, TrayDryer or FluidBed
        The machine with its zones.
    run : DryRun
        The leaf, the feed and the air around.
    with_spread : bool
        Whether ``moisture_wb_out_sd`` is computed (else 0).

    Raises
    ------
    BadInput
        A run that does not fit the dryer.
    """
    check_run(dryer, run)
    points, weights = np.zeros((1, len(NAMES))), np.ones(0)
    if with_spread:
        around, weights = cubature(run)
        points = np.concatenate([points, around])
    solved = solve(dryer, run, vary(dryer, run, points))
    sd = 0.0
    if with_spread:
        sd = spread_wb(moisture_wb_from_db(solved.moisture_db[1:]), weights)[1]
    return build(dryer, run, solved, sd)
