"""Many runs of a dryer: the same on processes and on a cluster, and what is said when one fails."""

import multiprocessing
import os
import signal
import time
from dataclasses import fields, replace

import numpy as np
import pytest
from distributed import LocalCluster

import wareleaf
from wareleaf.measure import BadInput
from wareleaf.stages import dry
from wareleaf.works import cluster as clusters
from wareleaf.works.spread_runs import many_runs, spread_runs

BELT = dry.BeltDryer(
    40.0,
    (dry.Zone(0.6, 70.0, 1.0, 0.6, "up"), dry.Zone(0.4, 55.0, 0.8, 0.7, "down", remix=True)),
    layers=3,
    steps=10,
)
RUN = dry.DryRun("sugar_kelp_blanched", 0.90, 2.5, feed_kg_h=300.0)


def same(one: dry.ManyResult, other: dry.ManyResult) -> bool:
    names = [f.name for f in fields(dry.ManyResult)]
    return all(np.array_equal(getattr(one, n), getattr(other, n)) for n in names)


@pytest.fixture(scope="module")
def two_workers():
    """A cluster of two worker processes on this machine; a task whose worker dies is given up."""
    import dask

    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            silence_logs=60,
        ) as found,
    ):
        yield found


@pytest.mark.slow
def test_a_cluster_gives_the_same_to_the_last_bit(two_workers):
    varied, seen = dry.drawn(BELT, RUN, 1100), []
    here = many_runs(BELT, RUN, varied)
    there = many_runs(
        BELT, RUN, varied, cluster=two_workers.scheduler_address,
        progress=lambda done, of: seen.append((done, of)),
    )  # fmt: skip
    assert same(here, there)
    assert same(here, many_runs(BELT, RUN, varied, workers=2))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1] == (1100, 1100)
    assert len(seen) == 5
    # bad input is refused as without a cluster, by the same sentence
    with pytest.raises(BadInput, match="not varied here"):
        many_runs(BELT, RUN, {"belt_time": [1.0]}, cluster=two_workers.scheduler_address)


@pytest.mark.slow
def test_workers_of_another_house_are_refused(two_workers, monkeypatch):
    monkeypatch.setattr(wareleaf, "__version__", "0.0.1")  # here, not in the workers
    with pytest.raises(BadInput, match="make them the same"):
        many_runs(BELT, RUN, dry.drawn(BELT, RUN, 8), cluster=two_workers.scheduler_address)


@pytest.mark.slow
def test_dead_workers_and_none_at_all_are_told_in_a_sentence(two_workers, monkeypatch):
    """Last here: it leaves the cluster without workers."""
    address = two_workers.scheduler_address
    varied = dry.drawn(replace(BELT, layers=8, steps=40), RUN, 4000)

    def kill(done, of):
        for worker in two_workers.workers.values():
            if worker.process is not None and worker.process.pid is not None:
                os.kill(worker.process.pid, signal.SIGKILL)

    monkeypatch.setattr(clusters, "_LOST_S", 3.0)
    with pytest.raises(BadInput, match=r"lost its workers at the work|no workers left") as lost:
        many_runs(replace(BELT, layers=8, steps=40), RUN, varied, cluster=address, progress=kill)
    assert lost.value.problems[0].field == "cluster"
    assert address in str(lost.value)
    two_workers.scale(0)
    # Killed workers are started anew by their nannies, so one may come back before it is let go.
    until, empty_since = time.monotonic() + 30.0, time.monotonic()
    while time.monotonic() < until and time.monotonic() - empty_since < 2.0:
        if two_workers.scheduler.workers or two_workers.workers:
            empty_since = time.monotonic()
        time.sleep(0.05)
    monkeypatch.setattr(clusters, "_WORKER_S", 1.0)
    with pytest.raises(BadInput, match="has no workers"):
        many_runs(BELT, RUN, varied, cluster=address)


class Gone:
    """A client whose workers all went away after it had sent its work."""

    status = "running"

    def __init__(self, status="running"):
        self.status = status

    def submit(self, *_args, **_kwargs):
        return self

    def add_done_callback(self, _call):
        """Nothing is ever done."""

    def scheduler_info(self):
        return {"workers": {}}


@pytest.mark.parametrize(
    ("status", "said"), [("running", "no workers left"), ("closed", "not answered")]
)
def test_work_that_waits_for_nobody_is_given_up(status, said, monkeypatch):
    monkeypatch.setattr(clusters, "_LOST_S", 0.05)
    monkeypatch.setattr(clusters, "_LOOK_S", 0.01)
    with clusters._Workers(Gone(status)) as executor:
        waiting = executor.submit(print)
        with pytest.raises(clusters.ClusterLost, match=said):
            waiting.result(timeout=5.0)


@pytest.mark.parametrize("address", ["10.0.0.5", "http://10.0.0.5:8786", "tcp://host", ""])
def test_what_is_no_address_is_refused(address):
    with pytest.raises(BadInput, match="is no address"):
        many_runs(BELT, RUN, {"moisture_wb": [0.9]}, cluster=address)


def test_an_address_where_nobody_is_says_so(monkeypatch):
    monkeypatch.setattr(clusters, "_CONNECT_S", 0.5)
    with pytest.raises(BadInput, match="does not answer") as refused:
        many_runs(BELT, RUN, {"moisture_wb": [0.9]}, cluster="tcp://127.0.0.1:9")
    assert refused.value.problems[0].field == "cluster"


def test_a_killed_process_is_told_in_a_sentence():
    others = set(multiprocessing.active_children())

    def kill(done, of):
        for child in set(multiprocessing.active_children()) - others:
            child.kill()

    fine = replace(BELT, layers=8, steps=40)
    with pytest.raises(BadInput, match="try again with fewer"):
        many_runs(fine, RUN, dry.drawn(fine, RUN, 3000), workers=2, progress=kill)


def test_a_spread_is_that_of_its_inputs():
    """Against the cubature rule of `dry.spread`: mean and standard deviation by another way."""
    made = spread_runs(BELT, RUN, 1000)
    rule = dry.spread(BELT, RUN)
    assert made.moisture_wb_mean == pytest.approx(rule.mean, abs=0.2 * rule.sd)
    assert made.moisture_wb_sd == pytest.approx(rule.sd, rel=0.15)
    assert made.moisture_wb_low < made.moisture_wb_median < made.moisture_wb_high
    assert sum(made.counts) == made.runs == 1000
    assert made.water_residual < 1e-6
    assert made.limit_wb == RUN.leaf_profile().moisture_wb_store_limit
    again = spread_runs(BELT, RUN, 1000, limit_wb=made.moisture_wb_high)
    assert again.over_limit_share == pytest.approx(0.025, abs=0.001)
    assert again.heat_kwh_mean == made.heat_kwh_mean


def test_certain_inputs_do_not_spread():
    none = replace(
        RUN, moisture_wb_sd=0.0, loading_relative_sd=0.0, ambient_c_sd=0.0, ambient_rh_sd=0.0,
        inlet_c_sd=0.0, rate_relative_sd=0.0,
    )  # fmt: skip
    made = spread_runs(BELT, none, 20)
    alone = dry.simulate(BELT, none, with_spread=False)
    assert made.moisture_wb_mean == pytest.approx(alone.moisture_wb_out, rel=1e-6)
    assert made.moisture_wb_sd < 1e-9


@pytest.mark.parametrize("kind", ["belt", "trays", "cold"])
def test_drawn_runs_are_runs_that_the_dryer_takes(kind):
    """At the edges: ambient air as hot as a zone, the hottest air of the model, a charge."""
    zones = (dry.Zone(0.5, 149.9, 1.0), dry.Zone(0.5, 20.5, 0.6))
    dryer = replace(BELT, zones=zones)
    run = replace(RUN, ambient_c=20.0, inlet_c_sd=5.0, ambient_c_sd=4.0)
    if kind == "trays":
        dryer = dry.TrayDryer(10.0, zones, layers=3, steps=10)
        run = replace(run, mass_kg=100.0, feed_kg_h=0.0)
    if kind == "cold":
        dryer = replace(BELT, zones=(dry.Zone(1.0, None, 0.6),))
    varied = dry.drawn(dryer, run, 64)
    assert ("mass_kg" in varied) == (kind == "trays")
    assert many_runs(dryer, run, varied).water_residual.max() < 1e-6
