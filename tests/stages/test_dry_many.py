"""Many runs at once give what one run after another gives, in any chunks and processes."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import dry

BELT = dry.BeltDryer(
    40.0,
    (dry.Zone(0.6, 70.0, 1.0, 0.6, "up"), dry.Zone(0.4, 55.0, 0.8, 0.7, "down", remix=True)),
    layers=4,
    steps=12,
)
RUN = dry.DryRun("sugar_kelp_blanched", 0.90, 2.5, feed_kg_h=300.0)


def drawn(count, seed=4):
    rng = np.random.default_rng(seed)
    return {
        "moisture_wb": rng.uniform(0.85, 0.92, count),
        "feed_kg_h": rng.uniform(200.0, 350.0, count),
        "residence_h": rng.uniform(1.5, 3.0, count),
        "ambient_c": rng.uniform(0.0, 25.0, count),
        "ambient_rh": rng.uniform(0.4, 1.0, count),
        "rate_multiplier": rng.lognormal(0.0, 0.2, count),
        "inlet_shift_k": rng.normal(0.0, 2.0, count),
    }


@pytest.mark.parametrize("kind", ["indirect", "direct"])
def test_many_are_as_one_after_another(kind):
    belt, varied = replace(BELT, heater=dry.Heater(0.9, 0.1, "lpg", kind)), drawn(12)
    made = dry.simulate_many(belt, RUN, varied)
    assert len(made) == 12
    assert made.water_residual.max() < 1e-6
    for n in range(12):
        shift = varied["inlet_shift_k"][n]
        alone = replace(
            belt, zones=tuple(replace(z, inlet_c=z.inlet_c + shift) for z in belt.zones)
        )
        names = [name for name in varied if name != "inlet_shift_k"]
        run = replace(RUN, **{name: float(varied[name][n]) for name in names})
        one = dry.simulate(alone, run, with_spread=False)
        assert made.moisture_wb_out[n] == pytest.approx(one.moisture_wb_out, rel=1e-6)
        assert made.heat_kwh[n] == pytest.approx(one.heat_kwh, rel=1e-6)
        assert made.water_removed_kg[n] == pytest.approx(one.water_removed_kg, rel=1e-6)
        assert made.leaf_temperature_max_c[n] == pytest.approx(one.leaf_temperature_max_c, abs=1e-4)


def test_runs_may_be_given_as_runs():
    runs = [replace(RUN, moisture_wb=wb, ambient_c=c) for wb, c in ((0.88, 5.0), (0.91, 20.0))]
    made = dry.simulate_many(BELT, RUN, runs)
    for n, run in enumerate(runs):
        one = dry.simulate(BELT, run, with_spread=False)
        assert made.moisture_wb_out[n] == pytest.approx(one.moisture_wb_out, rel=1e-6)
    with pytest.raises(BadInput, match="share leaf"):
        dry.simulate_many(BELT, RUN, [replace(RUN, leaf_id="tea_black")])


def test_trays_are_charged_their_own_hours():
    trays = dry.TrayDryer(10.0, (dry.Zone(1.0, 60.0, 0.8),), layers=4, steps=12)
    run = dry.DryRun("tea_black", 0.6, 2.0, mass_kg=50.0)
    made = dry.simulate_many(trays, run, {"mass_kg": [40.0, 60.0]})
    for n, mass in enumerate((40.0, 60.0)):
        one = dry.simulate(trays, replace(run, mass_kg=mass), with_spread=False)
        assert made.moisture_wb_out[n] == pytest.approx(one.moisture_wb_out, rel=1e-6)
        assert made.heat_kwh[n] == pytest.approx(one.heat_kwh, rel=1e-6)


def test_processes_threads_and_chunks_give_the_same_in_the_same_order():
    varied, seen = drawn(50), []
    plain = dry.simulate_many(BELT, RUN, varied, chunk=50)
    two = dry.simulate_many(BELT, RUN, varied, workers=2, chunk=20,
                            progress=lambda done, of: seen.append((done, of)))  # fmt: skip
    with ThreadPoolExecutor(2) as pool:
        threads = dry.simulate_many(BELT, RUN, varied, chunk=7, executor=pool)
    for other in (two, threads):
        assert other.moisture_wb_out == pytest.approx(plain.moisture_wb_out, rel=1e-6)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1] == (50, 50)
    assert len(seen) == 3


@pytest.mark.parametrize(
    ("varied", "said"),
    [
        ({}, "empty"),
        ({"belt_time": [1.0]}, "not varied here"),
        ({"moisture_wb": [0.5, 1.2]}, "moisture_wb"),
        ({"moisture_wb": [0.5, float("nan")]}, "moisture_wb"),
        ({"moisture_wb": [0.5, 0.6], "ambient_c": [1.0]}, "equally long"),
        ({"inlet_shift_k": [-60.0]}, "below the ambient"),
    ],
)
def test_bad_sweeps_are_refused(varied, said):
    with pytest.raises(BadInput, match=said):
        dry.simulate_many(BELT, RUN, varied)
