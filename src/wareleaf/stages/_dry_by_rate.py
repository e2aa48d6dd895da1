"""Outlet moisture as a function of the lot's rate: what a finished run can say of that rate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_solve import solve
from wareleaf.stages._dry_spec import Dryer
from wareleaf.stages._dry_spread import cubature, vary
from wareleaf.stages.common import Array

_EVERY = 3  # the spread changes slowly with the rate: it is computed at every third and joined


def by_rate(dryer: Dryer, run: DryRun, log_rates: Array) -> tuple[Array, Array]:
    """Mean and sd of the natural logarithm of the outlet moisture (wet basis) at each rate.

    The spread is that of feed moisture, load and air (the run's own uncertainties, by the
    third-degree cubature rule); the rate itself is given. A logarithm, because moisture is above 0
    and its spread grows with it.

    Parameters
    ----------
    dryer, run
        As for ``simulate``; ``run.rate_multiplier`` is what the rates multiply.
    log_rates : ndarray
        Natural logarithms of a multiplier on the run's rate, rising; one more than a multiple of 3.
    """
    check_run(dryer, run)
    known = replace(run, rate_relative_sd=0.0)
    points, weights = cubature(known)
    some = np.arange(0, log_rates.size, _EVERY)
    around = np.tile(points, (some.size, 1))
    many = vary(dryer, known, np.concatenate([np.zeros((log_rates.size, points.shape[1])), around]))
    at = np.concatenate([log_rates, np.repeat(log_rates[some], len(points))])
    rates = run.rate_multiplier * np.exp(at)
    out = solve(dryer, run, replace(many, rate_multiplier=rates)).moisture_db
    log_wb = np.log(np.asarray(moisture_wb_from_db(out)))
    middle, spread = log_wb[: log_rates.size], log_wb[log_rates.size :].reshape(some.size, -1)
    mean = spread @ weights
    sd = np.sqrt(np.maximum(0.0, (spread - mean[:, None]) ** 2 @ weights))
    shift = np.interp(log_rates, log_rates[some], mean - middle[some])
    return middle + shift, np.interp(log_rates, log_rates[some], sd)
