"""Thousands of runs of one dryer: how far its leaf spreads, here or on a cluster by its address."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass

import numpy as np

from wareleaf.measure.errors import BadInput
from wareleaf.stages import dry
from wareleaf.works.cluster import cluster_executor

_BINS = 20

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Spread:
    """How the outcomes of many runs lie.

    Parameters
    ----------
    runs : int
        How many.
    moisture_wb_mean, moisture_wb_sd : float
        Of the outlet moisture.
    moisture_wb_low, moisture_wb_median, moisture_wb_high : float
        Its 2.5, 50 and 97.5 % points.
    limit_wb : float
        The moisture that product must not pass.
    over_limit_share, over_dried_share, too_hot_share : float
        Of the runs: wetter than that, drier than the leaf needs, and with leaf above its limit.
    leaf_temperature_max_c : float
        97.5 % point of the hottest leaf of a run.
    heat_kwh_mean, heat_kwh_sd : float
        Heat for the lot.
    edges_wb, counts : tuple
        Histogram of the outlet moisture.
    water_residual : float
        The worst closure of water of all runs.
    """

    runs: int
    moisture_wb_mean: float
    moisture_wb_sd: float
    moisture_wb_low: float
    moisture_wb_median: float
    moisture_wb_high: float
    limit_wb: float
    over_limit_share: float
    over_dried_share: float
    too_hot_share: float
    leaf_temperature_max_c: float
    heat_kwh_mean: float
    heat_kwh_sd: float
    edges_wb: tuple[float, ...]
    counts: tuple[int, ...]
    water_residual: float


def many_runs(
    dryer: dry.Dryer,
    run: dry.DryRun,
    varied: dry.Varied,
    *,
    cluster: str | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> dry.ManyResult:
    """`dry.simulate_many` on processes of this machine or on a cluster; the same to the last bit.

    Parameters
    ----------
    dryer, run, varied
        As for `dry.simulate_many`.
    cluster : str or None
        Address of a scheduler; ``None``: this machine.
    workers : int
        Processes on this machine; not used with a cluster.
    progress : callable or None
        Told how many of how many runs are done.

    Raises
    ------
    BadInput
        What `dry.simulate_many` refuses; a cluster that cannot be reached or stops; processes that
        are killed.
    """
    if cluster is not None:
        with cluster_executor(cluster) as executor:
            return dry.simulate_many(dryer, run, varied, executor=executor, progress=progress)
    try:
        return dry.simulate_many(dryer, run, varied, workers=workers, progress=progress)
    except BrokenProcessPool as error:
        raise BadInput(
            "workers",
            workers,
            f"workers is {workers}: one of these processes was stopped from outside (memory?); "
            "nothing is half done, try again with fewer.",
        ) from error


def spread_runs(
    dryer: dry.Dryer,
    run: dry.DryRun,
    count: int,
    *,
    limit_wb: float | None = None,
    cluster: str | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Spread:
    """Run a dryer as often as asked, its inputs as uncertain as the run says, and sum up.

    Parameters
    ----------
    dryer, run
        The machine and the run with its standard deviations.
    count : int
        8 to 20,000 runs; always the same ones.
    limit_wb : float or None
        Moisture that product must not pass; ``None``: what the leaf keeps at.
    cluster, workers, progress
        As for `many_runs`.
    """
    varied = dry.drawn(dryer, run, count)
    made = many_runs(dryer, run, varied, cluster=cluster, workers=workers, progress=progress)
    profile, out = run.leaf_profile(), made.moisture_wb_out
    limit = profile.moisture_wb_store_limit if limit_wb is None else limit_wb
    low, median, high = (float(v) for v in np.quantile(out, (0.025, 0.5, 0.975)))
    counts, edges = np.histogram(out, bins=_BINS)
    hottest = made.leaf_temperature_max_c
    return Spread(
        runs=len(made),
        moisture_wb_mean=float(out.mean()),
        moisture_wb_sd=float(out.std()),
        moisture_wb_low=low,
        moisture_wb_median=median,
        moisture_wb_high=high,
        limit_wb=limit,
        over_limit_share=float(np.mean(out > limit)),
        over_dried_share=float(np.mean(out < profile.moisture_wb_overdried)),
        too_hot_share=float(np.mean(hottest > profile.leaf_temperature_max_c)),
        leaf_temperature_max_c=float(np.quantile(hottest, 0.975)),
        heat_kwh_mean=float(made.heat_kwh.mean()),
        heat_kwh_sd=float(made.heat_kwh.std()),
        edges_wb=tuple(float(e) for e in edges),
        counts=tuple(int(n) for n in counts),
        water_residual=float(made.water_residual.max()),
    )
