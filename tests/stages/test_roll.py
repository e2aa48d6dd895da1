"""Rolling: limits, balances on random charges, the 35 degree limit, aim and project."""

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wareleaf.measure import BadInput
from wareleaf.stages import roll
from wareleaf.stages.common import StageReading
from wareleaf.stages.roll import Roller, RollRun

LEAF = RollRun("tea_black", 360, 0.62)


def test_no_work_no_loss_leaf_stays_as_it_was():
    still = Roller(motor_kw=0, motor_kw_per_kpa=0, loss_w_k=0)
    out = roll.simulate(still, LEAF)
    assert out.leaf_temperature_max_c == pytest.approx(22.0)
    assert out.water_removed_kg == pytest.approx(0.0, abs=1e-9)
    assert out.moisture_wb_out == pytest.approx(0.62)


def test_saturated_room_at_leaf_temperature_takes_no_water_without_work():
    calm = replace(LEAF, room_relative_humidity=1.0)
    out = roll.simulate(Roller(motor_kw=0, motor_kw_per_kpa=0), calm)
    assert out.water_removed_kg == pytest.approx(0.0, abs=1e-6)


def test_without_losses_the_work_is_the_warming():
    tight = Roller(loss_w_k=0)
    out = roll.simulate(tight, LEAF)
    dry, water = 180 * 0.38, 180 * 0.62
    from wareleaf.leaf import profile

    heat = dry * profile("tea_black").specific_heat_dry_j_kg_k + water * 4186
    assert out.leaf_temperature_max_c == pytest.approx(22 + 6000 * 1800 / heat, abs=0.1)


rollers = st.builds(
    Roller,
    style=st.sampled_from(["orthodox", "ctc"]),
    motor_kw=st.floats(0, 15),
    loss_w_k=st.floats(0, 200),
)
charges = st.builds(
    RollRun,
    leaf_id=st.just("tea_black"),
    mass_kg=st.floats(100, 2000),
    moisture_wb=st.floats(0.4, 0.8),
    minutes=st.floats(1, 60),
    room_c=st.floats(5, 40),
    room_relative_humidity=st.floats(0.5, 1.0),
)


@settings(deadline=None, max_examples=40)
@given(roller=rollers, run=charges)
def test_water_and_energy_close_on_random_charges(roller, run):
    try:
        out = roll.simulate(roller, run)
    except BadInput as refused:
        # A motor that would cook its charge is refused by name, and that is all it may be.
        assert "this is not rolling" in str(refused)
        assume(False)
    dry = run.mass_kg * (1 - run.moisture_wb)
    assert out.water_residual < 1e-9
    assert out.energy_residual < 1e-9
    assert out.mass_out_kg * (1 - out.moisture_wb_out) == pytest.approx(dry)
    assert out.dry_matter_kg == pytest.approx(dry)
    assert out.mass_in_kg - out.water_removed_kg == pytest.approx(out.mass_out_kg)
    assert 0 <= out.disruption <= 1


def test_moisture_barely_changes_in_a_usual_roll():
    out = roll.simulate(Roller(), LEAF)
    assert abs(out.moisture_wb_out - 0.62) < 0.015


def test_kushwaha_2015_hard_cutting_passes_35_degrees_and_says_so():
    # Kushwaha et al. 2015 (abstract): friction can reach about 60 degC; quality falls above 35.
    out = roll.simulate(Roller(motor_kw=25, loss_w_k=50), LEAF)
    assert out.leaf_temperature_max_c > 35
    assert "35" in out.warnings[0]


def test_aim_breaks_the_wanted_share_within_the_limit():
    found = roll.aim(Roller(), LEAF, 0.6)
    assert found.reachable
    assert found.result.disruption == pytest.approx(0.6)
    assert found.result.leaf_temperature_max_c <= 35


def test_aim_eases_the_pressure_when_leaf_would_be_too_hot():
    hot = Roller(motor_kw=1, motor_kw_per_kpa=0.9, loss_w_k=150)
    found = roll.aim(hot, replace(LEAF, pressure_kpa=40), 0.7)
    assert found.reachable
    assert found.settings["pressure_kpa"] < 40
    assert found.result.leaf_temperature_max_c <= 35


def test_aim_refuses_a_motor_that_would_cook_the_leaf():
    with pytest.raises(BadInput, match="not rolling"):
        roll.aim(Roller(motor_kw=2000, loss_w_k=20), LEAF, 0.7)


def test_aim_names_the_coolest_way_when_all_are_too_hot():
    found = roll.aim(Roller(motor_kw=12, loss_w_k=60), LEAF, 0.6)
    assert not found.reachable
    assert "cool" in found.reason
    assert found.result.leaf_temperature_max_c > 35


def test_project_learns_a_slow_leaf():
    truth = roll.simulate(Roller(), replace(LEAF, minutes=60, rate_factor=0.7))
    seen = StageReading(0.25, "disruption", truth.course_disruption[30], 0.02)
    before, after = (roll.project(Roller(), LEAF, x, 0.6) for x in ([], [seen]))
    wanted = next(
        m for m, d in zip(truth.course_min, truth.course_disruption, strict=True) if d >= 0.6
    )
    assert abs(after.finish_h * 60 - wanted) < 0.5 * abs(before.finish_h * 60 - wanted)
    assert after.finish_sd_h < before.finish_sd_h


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Roller(style="hammer"), "style"),
        (lambda: Roller(charge_kg=0), "charge_kg"),
        (lambda: replace(LEAF, leaf_id="sugar_kelp_raw"), "leaf_id"),
        (lambda: replace(LEAF, moisture_wb=1.2), "moisture_wb"),
        (lambda: roll.aim(Roller(), LEAF, 1.0), "disruption"),
        (lambda: roll.simulate(Roller(loss_w_k=1e9), LEAF), "loss_w_k"),
        (
            lambda: roll.project(Roller(), LEAF, [StageReading(1, "shaft_kw", 1, 1)], 0.5),
            "readings",
        ),
    ],
)
def test_bad_input_names_its_field(make, field):
    with pytest.raises(BadInput) as caught:
        make()
    assert caught.value.problems[0].field == field
