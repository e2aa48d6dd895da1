"""What a works' own trial gave, under a machine's settings, reaches the forecasts of the floor."""

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import wither
from wareleaf.works import machines
from wareleaf.works.demo.generate import settings_file
from wareleaf.works.predict.base import Ask
from wareleaf.works.predict.tea import predict_oxidise
from wareleaf.works.settings import read_settings

SETTINGS = read_settings(settings_file())


def machine(kind, **own):
    found = next(e for e in SETTINGS.equipment if e.kind == kind)
    return found.model_copy(update={"settings": {**found.settings, **own}})


@pytest.mark.parametrize(
    ("kind", "spec", "own"),
    [
        ("oxidation_floor", machines.floor_of, {"rate_factor": 1.4, "loss_ratio": 5.0}),
        (
            "oxidation_floor",
            machines.floor_of,
            {"formation_activation_j_mol": 52_000.0, "loss_activation_j_mol": 90_000.0},
        ),
        ("blanch_bath", machines.bath_of, {"leach_activation_j_mol": 50_000.0}),
        ("wither_trough", lambda m, _: machines.trough_of(m), {"rate_factor": 0.8}),
        ("roller", lambda m, _: machines.roller_of(m), {"rate_factor": 1.6}),
        ("blanch_bath", machines.bath_of, {"leach_factor": 0.6, "residual_factor": 1.2}),
    ],
)
def test_the_trial_belongs_to_the_run_and_not_to_the_machine(kind, spec, own):
    plain = spec(machine(kind), {})
    assert spec(machine(kind, **own), {}) == plain
    taken = machines.of_the_run(machine(kind, **own))
    assert {k: taken[k] for k in own} == own


def test_a_word_for_a_number_is_refused_by_name():
    with pytest.raises(BadInput, match=r"rate_factor is 'fast'; it must be a number"):
        machines.of_the_run(machine("roller", rate_factor="fast"))


def test_a_slow_leaf_takes_longer_on_the_trough():
    run = wither.WitherRun("tea_black", 1220.0, 0.78, (0.0,), (24.0,), (0.75,))
    slow = wither.WitherRun("tea_black", 1220.0, 0.78, (0.0,), (24.0,), (0.75,), rate_factor=0.6)
    trough = wither.Trough()
    hours = [wither.aim(trough, r, 0.62).settings["duration_h"] for r in (run, slow)]
    assert hours[1] > 1.05 * hours[0]


def test_the_floor_forecasts_with_the_constants_of_its_trial():
    rolled = SimpleNamespace(
        leaf_id="tea_black", mass_kg=200.0, moisture_wb=0.62, moisture_sd=0.01
    )  # fmt: skip
    peaks = []
    for own in ({}, {"rate_factor": 2.0}):
        floor = machine("oxidation_floor", **own)
        ask = Ask(None, floor, rolled, {"minutes": 60.0, "air_c": 25.0}, datetime.now(UTC))
        peaks.append(predict_oxidise(ask).detail["peak_min"])
    assert peaks[1] == pytest.approx(0.5 * peaks[0], rel=0.15)
