"""How uncertain the outlet moisture is: feed, load, air and rate carried through the dryer.

The scenarios are solved together, so a spread costs little more than one run.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtri

from wareleaf import leaf
from wareleaf.air import humidity_ratio
from wareleaf.measure import moisture_db_from_wb
from wareleaf.stages._dry_load import DryRun, loading_kg_m2
from wareleaf.stages._dry_solve import Scenarios, scenarios
from wareleaf.stages._dry_spec import AIR_MAX_C, Dryer, TrayDryer
from wareleaf.stages.common import Array, finite, log_sd

# moisture, loading, ambient temperature, ambient humidity, inlet temperature, rate
NAMES = ("moisture_wb", "loading", "ambient_c", "ambient_rh", "inlet_c", "rate")
_SEED = 20260411


def rate_sd(run: DryRun) -> float:
    """Relative standard deviation of the rate constant that the run assumes."""
    if run.rate_relative_sd is not None:
        return run.rate_relative_sd
    return leaf.rate_constant_relative_sd(run.leaf_profile(), "dry")


def deviations(run: DryRun) -> Array:
    """Standard deviation of each uncertain input, in the order of `NAMES`; log for the last."""
    return np.array(
        [
            run.moisture_wb_sd,
            log_sd(run.loading_relative_sd),
            run.ambient_c_sd,
            run.ambient_rh_sd,
            run.inlet_c_sd,
            log_sd(rate_sd(run)),
        ]
    )


def cubature(run: DryRun) -> tuple[Array, Array]:
    """Points (scenario, input) in standard deviations, and their weights.

    The spherical-radial rule of third degree: two points a uncertain input, each the square root
    of their count away, all of equal weight.
    """
    active = np.flatnonzero(deviations(run) > 0.0)
    count = active.size
    points = np.zeros((2 * count, len(NAMES)))
    for i, name in enumerate(active):
        points[2 * i, name], points[2 * i + 1, name] = np.sqrt(count), -np.sqrt(count)
    if count == 0:
        return np.zeros((1, len(NAMES))), np.ones(1)
    return points, np.full(2 * count, 1.0 / (2 * count))


def sample(count: int) -> tuple[Array, Array]:
    """A Latin hypercube of ``count`` points in standard deviations (always the same one)."""
    finite("n", count, 8, 20000)
    from scipy.stats import qmc  # slow to load, and one run alone does not need it

    engine = qmc.LatinHypercube(len(NAMES), rng=np.random.default_rng(_SEED))
    return ndtri(engine.random(count)), np.full(count, 1.0 / count)


def vary(dryer: Dryer, run: DryRun, points: Array) -> Scenarios:
    """The run at points (scenario, input), each in standard deviations."""
    z = points * deviations(run)
    many = scenarios(dryer, run, len(points))
    wb = np.clip(run.moisture_wb + z[:, 0], 0.002, 0.985)
    ambient_c = np.clip(run.ambient_c + z[:, 2], -25.0, 65.0)
    ambient_rh = np.clip(run.ambient_rh + z[:, 3], 0.0, 1.0)
    heated = np.array([zone.inlet_c is not None for zone in dryer.zones])
    return replace(
        many,
        moisture_db=moisture_db_from_wb(wb),
        dry_load_kg_m2=loading_kg_m2(dryer, run) * np.exp(z[:, 1]) * (1.0 - wb),
        ambient_c=ambient_c,
        leaf_c=ambient_c if run.leaf_c is None else many.leaf_c,
        ambient_ratio=humidity_ratio(ambient_c, ambient_rh, run.pressure_pa),
        inlet_c=np.maximum(many.inlet_c + z[:, 4][:, None] * heated, ambient_c[:, None]),
        rate_multiplier=run.rate_multiplier * np.exp(z[:, 5]),
    )


def drawn(dryer: Dryer, run: DryRun, count: int) -> dict[str, Array]:
    """Runs as the uncertain inputs let them come, for `simulate_many`; always the same ones.

    Parameters
    ----------
    dryer, run
        As for `simulate`; the standard deviations of the run say how far each input spreads.
    count : int
        8 to 20,000, by a Latin hypercube.

    Returns
    -------
    dict of str to ndarray
        What `simulate_many` varies.
    """
    finite("runs", count, 8, 20000)
    z = sample(count)[0] * deviations(run)
    trays = isinstance(dryer, TrayDryer)
    load = run.lot_kg() if trays else run.feed_kg_h
    ambient_c = np.clip(run.ambient_c + z[:, 2], -20.0, 60.0)
    heated = [zone.inlet_c for zone in dryer.zones if zone.inlet_c is not None]
    found = {
        "moisture_wb": np.clip(run.moisture_wb + z[:, 0], 0.002, 0.985),
        "mass_kg" if trays else "feed_kg_h": load * np.exp(z[:, 1]),
        "ambient_c": ambient_c,
        "ambient_rh": np.clip(run.ambient_rh + z[:, 3], 0.0, 1.0),
        "rate_multiplier": run.rate_multiplier * np.exp(z[:, 5]),
    }
    if heated:  # a heater does not go below the ambient air, nor the model above its hottest
        found["ambient_c"] = np.minimum(ambient_c, min(heated))
        shift = np.maximum(z[:, 4], found["ambient_c"] - min(heated))
        found["inlet_shift_k"] = np.minimum(shift, AIR_MAX_C - max(heated))
    return found
