"""Oxidation: limits, balances on random floors, published peak times, aim and project."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from wareleaf.measure import BadInput, read_figures
from wareleaf.stages import oxidise
from wareleaf.stages.common import StageReading
from wareleaf.stages.oxidise import Floor, OxidiseRun, peak_share, theaflavin_shape

LEAF = OxidiseRun("tea_black", 400, 0.61, minutes=60)
# A floor that holds the leaf at its temperature: much air at the leaf's own state.
STEADY = Floor(dry_bulb_c=26.5, relative_humidity=1.0, air_kg_h_kg=60, effectiveness=1.0)
STILL = replace(LEAF, leaf_temperature_c=26.5, catechins_mg_g=0)


# --- limits ---------------------------------------------------------------------------------


def test_almost_no_oxygen_almost_no_change():
    out = oxidise.simulate(replace(STEADY, oxygen_factor=1e-6), STILL)
    assert out.oxidised_share < 1e-5
    assert out.theaflavin_fraction < 1e-6


def test_no_air_no_water_lost_and_all_heat_stays():
    out = oxidise.simulate(Floor(air_kg_h_kg=0), replace(LEAF, minutes=500))
    assert out.water_removed_kg == pytest.approx(0.0, abs=1e-9)
    heat = 0.1375 * 1.1e6 * out.oxidised_share  # J per kg dry matter
    from wareleaf.leaf import profile

    capacity = profile("tea_black").specific_heat_dry_j_kg_k + 0.61 / 0.39 * 4186
    assert out.course_leaf_c[-1] - 26 == pytest.approx(heat / capacity, rel=0.01)


def test_saturated_air_at_leaf_temperature_changes_nothing_but_the_leaf():
    out = oxidise.simulate(STEADY, STILL)
    assert out.course_leaf_c[-1] == pytest.approx(26.5, abs=0.01)
    assert out.water_removed_kg == pytest.approx(0.0, abs=0.05)


def test_closed_form_against_a_stiff_solver():
    # Same equations by SciPy's LSODA at constant temperature: an independent integration.
    r, k = 3.0, 0.0103

    def slope(_t, y):
        return [-k * y[0], k * y[0] ** 2 - r * k * y[0] * y[1]]

    t = np.linspace(0, 300, 31)
    answer = solve_ivp(slope, (0, 300), [1, 0], t_eval=t, rtol=1e-10, atol=1e-12, method="LSODA")
    assert np.allclose(theaflavin_shape(1 - answer.y[0], r), answer.y[1], atol=1e-8)


@pytest.mark.parametrize("r", [0.1, 1.0, 3.0, 10.0])
def test_the_peak_share_is_where_the_shape_is_highest(r):
    u = np.linspace(0, 1, 100_001)
    assert u[np.argmax(theaflavin_shape(u, r))] == pytest.approx(peak_share(r), abs=2e-5)


def test_the_plain_consecutive_form_has_no_peak():
    # Why the form dTF/dt = a k C - kd TF C/C0 is not used: per share oxidised it is
    # dTF/du = a - r TF, which only rises. Shown by integration.
    r, k = 3.0, 0.0103

    def slope(_t, y):
        return [-k * y[0], k * y[0] - r * k * y[1] * y[0]]

    answer = solve_ivp(slope, (0, 1500), [1, 0], t_eval=np.linspace(0, 1500, 200), rtol=1e-9)
    assert np.all(np.diff(answer.y[1]) > -1e-9)


# --- conservation ---------------------------------------------------------------------------


floors = st.builds(
    Floor,
    dry_bulb_c=st.floats(8, 40),
    relative_humidity=st.floats(0.6, 1.0),
    air_kg_h_kg=st.floats(0, 15),
    effectiveness=st.floats(0, 1),
    oxygen_factor=st.floats(0.2, 2),
)
batches = st.builds(
    OxidiseRun,
    leaf_id=st.just("tea_black"),
    mass_kg=st.floats(10, 3000),
    moisture_wb=st.floats(0.45, 0.8),
    minutes=st.floats(2, 240),
    cut=st.sampled_from(oxidise.CUTS),
    leaf_temperature_c=st.floats(12, 40),
)


@settings(deadline=None, max_examples=40)
@given(floor=floors, run=batches)
def test_water_and_energy_close_on_random_floors(floor, run):
    out = oxidise.simulate(floor, run)
    assert out.water_residual < 1e-9
    assert out.energy_residual < 1e-9
    assert out.mass_out_kg * (1 - out.moisture_wb_out) == pytest.approx(
        run.mass_kg * (1 - run.moisture_wb)
    )
    assert out.mass_in_kg - out.water_removed_kg == pytest.approx(out.mass_out_kg)
    assert 0 <= out.oxidised_share <= 1
    assert min(out.course_theaflavin) >= -1e-15
    assert np.all(np.diff(out.course_oxidised) >= 0)


# --- published ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cut", "peak_min", "percent"),
    [("orthodox_fine", 60, 0.63), ("orthodox_coarse", 150, 0.63), ("ctc", 30, 0.82)],
)
def test_iranian_factories_peak_time_and_height(cut, peak_min, percent):
    # "Optimization of fermentation time for Iranian black tea production" (abstract): 60, 150,
    # 30 min; 0.63 % (orthodox), 0.82 % (CTC) of infusion solids. Calibrated at 26.5 degC steady;
    # tolerance: the step of a minute.
    out = oxidise.simulate(STEADY, replace(STILL, cut=cut, minutes=400))
    assert out.peak_min == pytest.approx(peak_min, rel=0.01)
    assert 100 * out.peak_theaflavin_fraction == pytest.approx(percent, rel=0.005)


@pytest.mark.parametrize("temp", [24.0, 29.0])
@pytest.mark.parametrize(("cut", "peak_min"), [("orthodox_fine", 60), ("ctc", 30)])
def test_within_24_to_29_degrees_the_published_time_is_in_the_window(temp, cut, peak_min):
    # The trial's temperature is not known, only that 24-29 degC is the optimum: the published
    # time must lie in the model's best window at both ends.
    out = oxidise.simulate(
        replace(STEADY, dry_bulb_c=temp),
        replace(STILL, cut=cut, minutes=400, leaf_temperature_c=temp),
    )
    assert out.window_min[0] <= peak_min <= out.window_min[1]


def test_kimutai_2015_spread_of_peak_times():
    # Kimutai et al. 2015 (abstract): 8 cultivars peak at 60 min, 3 at 40.
    rows = {
        f"{f.subject}.{f.quantity}": f.value for f in read_figures("wareleaf.stages", "oxidise")
    }
    logs = np.log([60] * 8 + [40] * 3)
    assert rows["all.rate_log_sd"] == pytest.approx(logs.std(ddof=1), abs=0.005)


def test_owuor_hotter_gives_less_theaflavin_and_more_colour():
    # Owuor & Obanda (abstract): longer and hotter means more colour, less theaflavin.
    def at(temp):
        return oxidise.simulate(
            replace(STEADY, dry_bulb_c=temp),
            replace(STILL, leaf_temperature_c=temp, minutes=400),
        )

    cool, hot = at(20.0), at(33.0)
    assert hot.peak_theaflavin_fraction < cool.peak_theaflavin_fraction
    assert hot.peak_min < cool.peak_min


def test_rate_is_linear_in_oxygen():
    # PMC10039259 (abstract): pseudo-first-order, k linear in O2. Twice the oxygen, half the time.
    one = oxidise.simulate(STEADY, replace(STILL, minutes=200))
    two = oxidise.simulate(replace(STEADY, oxygen_factor=2), replace(STILL, minutes=200))
    assert two.peak_min == pytest.approx(one.peak_min / 2, rel=0.01)


# --- aim and project ------------------------------------------------------------------------


def test_aim_is_the_top_of_the_curve():
    found = oxidise.aim(Floor(), LEAF)
    assert found.reachable
    best = found.settings["minutes"]
    top = found.result.theaflavin_fraction
    for other in (best - 10, best + 10):
        floor = Floor(air_kg_h_kg=found.settings["air_kg_h_kg"])
        assert oxidise.simulate(floor, replace(LEAF, minutes=other)).theaflavin_fraction < top


def test_aim_gives_more_air_to_a_bed_that_heats():
    slow = Floor(dry_bulb_c=22, air_kg_h_kg=0.2)
    found = oxidise.aim(slow, LEAF)
    assert found.settings["air_kg_h_kg"] > 0.2
    assert found.result.leaf_temperature_max_c <= 29


def test_aim_says_when_the_room_is_too_hot():
    found = oxidise.aim(Floor(dry_bulb_c=38, relative_humidity=1.0), LEAF)
    assert not found.reachable
    assert "degC" in found.reason


def test_project_learns_a_fast_cultivar():
    truth = oxidise.simulate(Floor(), replace(LEAF, minutes=200, rate_factor=1.4))
    reads = [
        StageReading(
            m / 60,
            "oxidised_share",
            float(np.interp(m, truth.course_min, truth.course_oxidised)),
            0.02,
        )
        for m in (10, 20, 30)
    ]
    before, after = oxidise.project(Floor(), LEAF, []), oxidise.project(Floor(), LEAF, reads)
    assert abs(60 * after.finish_h - truth.peak_min) < 0.35 * abs(
        60 * before.finish_h - truth.peak_min
    )
    assert after.finish_sd_h < 0.6 * before.finish_sd_h
    assert "fire" in after.note


def test_project_after_the_peak_says_fire_now():
    late = [StageReading(2.5, "leaf_temperature_c", 25.5, 0.5)]
    assert "fire now" in oxidise.project(Floor(), LEAF, late).note


def test_past_the_window_is_said():
    out = oxidise.simulate(Floor(), replace(LEAF, minutes=200))
    assert math.isfinite(out.window_min[1])
    assert any("Past the best window" in w for w in out.warnings)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Floor(relative_humidity=1.4), "relative_humidity"),
        (lambda: Floor(dry_bulb_c=80), "dry_bulb_c"),
        (
            lambda: oxidise.simulate(Floor(40, 0.05, 80), replace(LEAF, minutes=900)),
            "relative_humidity",
        ),
        (lambda: replace(LEAF, cut="shred"), "cut"),
        (lambda: replace(LEAF, leaf_id="nori_sheet"), "leaf_id"),
        (lambda: replace(LEAF, minutes=0), "minutes"),
        (lambda: replace(LEAF, mass_kg=math.inf), "mass_kg"),
    ],
)
def test_bad_input_names_its_field(make, field):
    with pytest.raises(BadInput) as caught:
        make()
    assert caught.value.problems[0].field == field
