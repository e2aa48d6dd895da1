"""Moisture after some hours as a function of the lot's rate: what a finished wither can say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_spec import Trough, WitherRun, number
from wareleaf.stages.common import Array

_STEP_MIN = 10.0  # as the projection's


def by_rate(trough: Trough, run: WitherRun, hours: float, log_rates: Array) -> tuple[Array, Array]:
    """Mean and sd of the natural logarithm of the moisture (wet basis) after ``hours``.

    The spread is that of the arriving moisture and the published standard error of such a model;
    the rate itself is given.

    Parameters
    ----------
    trough, run
        As for ``simulate``; ``run.rate_factor`` is what the rates multiply.
    hours : float
        Since the start, above 0.
    log_rates : ndarray
        Natural logarithms of a multiplier on the run's rate.
    """
    least, most = run.surface_water_share + 1e-3, 0.97
    wet = run.moisture_wb + run.moisture_wb_sd * np.array([-1.0, 1.0])
    starts = np.clip(np.array([wet[0], wet[1]]), least, most)
    rates = np.exp(np.repeat(log_rates, 2))
    cases = Cases(rates, np.tile(starts, log_rates.size), np.zeros(rates.size))
    coarse = replace(run, duration_h=hours, step_min=max(run.step_min, _STEP_MIN))
    end = carry(trough, coarse, cases).mean_wb[-1].reshape(log_rates.size, 2)
    mean = end.mean(axis=1)
    sd = np.hypot(0.5 * (end[:, 1] - end[:, 0]), number("model.standard_error_wb"))
    # First order of the logarithm; the second-order term keeps the mean of the moisture itself.
    relative = sd / mean
    return np.log(mean) - 0.5 * relative**2, np.sqrt(np.log1p(relative**2))
