"""Many dryer runs for a spread: on two processes and on a cluster, against one after another.

10,000 runs of the belt of `bench_dryer` with feed, load, air and rate of the leaf varied, solved by
`dry.simulate_many`, and again by the same call on a cluster of two worker processes of this machine
(whose own start is not counted: a cluster stands ready); both to the same last bit. The same solver
one run after another is timed on a part of the same runs, in the same process, and taken up to the
whole; both must give the same moistures.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np
from distributed import LocalCluster

from bench import Row
from bench.bench_dryer import DRYER, RUN
from wareleaf.stages import dry
from wareleaf.works.spread_runs import many_runs

COUNT, ALONE, WORKERS = 10_000, 60, 2


def drawn(count: int) -> dict[str, np.ndarray]:
    """Runs as a works sees them over a season."""
    rng = np.random.default_rng(20260411)
    return {
        "moisture_wb": rng.normal(0.90, 0.01, count).clip(0.80, 0.95),
        "feed_kg_h": 300.0 * rng.lognormal(0.0, 0.05, count),
        "ambient_c": rng.normal(15.0, 5.0, count).clip(-5.0, 30.0),
        "ambient_rh": rng.normal(0.7, 0.1, count).clip(0.2, 1.0),
        "inlet_shift_k": rng.normal(0.0, 1.5, count),
        "rate_multiplier": rng.lognormal(0.0, 0.2, count),
    }


def _tell(done: int, of: int) -> None:
    print(f"\r{done} of {of}", end="\n" if done == of else "", file=sys.stderr, flush=True)


def _alone(varied: dict[str, np.ndarray], n: int) -> float:
    shift = float(varied["inlet_shift_k"][n])
    zones = tuple(replace(z, inlet_c=z.inlet_c + shift) for z in DRYER.zones)
    given = {k: float(v[n]) for k, v in varied.items() if k != "inlet_shift_k"}
    made = dry.simulate(replace(DRYER, zones=zones), replace(RUN, **given), with_spread=False)
    return made.moisture_wb_out


def _on_a_cluster(varied: dict[str, np.ndarray]) -> tuple[float, dry.ManyResult]:
    with LocalCluster(
        n_workers=WORKERS, threads_per_worker=1, dashboard_address=None, silence_logs=60
    ) as cluster:
        address = cluster.scheduler_address
        few = {k: v[:10] for k, v in varied.items()}
        many_runs(DRYER, RUN, few, cluster=address)  # workers load the house once
        start = time.perf_counter()
        made = many_runs(DRYER, RUN, varied, cluster=address, progress=_tell)
        return time.perf_counter() - start, made


def run() -> list[Row]:
    varied = drawn(COUNT)
    dry.simulate_many(DRYER, RUN, {k: v[:10] for k, v in varied.items()})  # tables are made once
    start = time.perf_counter()
    made = many_runs(DRYER, RUN, varied, workers=WORKERS, progress=_tell)
    ours = time.perf_counter() - start
    afar, there = _on_a_cluster(varied)
    if not np.array_equal(made.moisture_wb_out, there.moisture_wb_out):
        raise AssertionError("the cluster's moistures are not the same to the last bit")
    start = time.perf_counter()
    alone = [_alone(varied, n) for n in range(ALONE)]
    each = (time.perf_counter() - start) / ALONE
    off = np.abs(made.moisture_wb_out[:ALONE] / np.array(alone) - 1.0).max()
    if off > 1e-6:
        raise AssertionError(f"the sweep is {off:.1e} off single runs")
    spread = (
        f"mean {100 * made.moisture_wb_out.mean():.2f} %, sd {100 * made.moisture_wb_out.std():.2f}"
    )
    return [
        Row(f"{COUNT} dryer runs, {WORKERS} processes", ours, None, None, "s", "<= 20",
            f"{DRYER.layers} x {DRYER.steps} cells; {spread}; water closes to "
            f"{made.water_residual.max():.0e}"),
        Row(f"{COUNT} dryer runs, cluster of {WORKERS}", afar, None, None, "s", "<= 20",
            "LocalCluster by its address, connecting counted; the same to the last bit"),
        Row("same, against one after another", ours, each * COUNT, each * COUNT / ours, "s", "",
            f"one by one on {ALONE} of them, taken up; same to {off:.0e}"),
    ]  # fmt: skip
