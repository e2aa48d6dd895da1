"""Blanching: limits, balances on random runs, published residuals, aim and project."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.leaf import profile
from wareleaf.measure import BadInput, read_figures, read_sources
from wareleaf.stages import blanch
from wareleaf.stages.blanch import Bath, BlanchRun, Limits
from wareleaf.stages.blanch_leaf import first_root, leach_rate_per_s, warm
from wareleaf.stages.blanch_spec import figure
from wareleaf.stages.common import StageReading

# One basket in so much water that the bath stays clean: what a laboratory does.
LAB = Bath(water_kg=20_000, dip_kg=10, heater_kw=1000, evaporation_kg_h=0)
KELP = BlanchRun("sugar_kelp_raw", 10, 0.92, 4605, arsenic_mg_kg_dw=63)
LINE = Bath(water_kg=1500, feed_kg_h=600, refresh_kg_per_kg=1.0)
LOAD = BlanchRun("sugar_kelp_raw", 1200, 0.90, 4605, cadmium_mg_kg_dw=1.2)


# --- limits ---------------------------------------------------------------------------------


def test_a_moment_in_the_water_takes_nothing():
    out = blanch.simulate(replace(LAB, drag_out_kg_per_kg=0), replace(KELP, immersion_s=1e-3))
    assert out.iodine_mg_kg_dw == pytest.approx(4605, rel=1e-4)
    assert out.dry_matter_leached_kg == pytest.approx(0, abs=1e-5)
    assert out.mass_out_kg == pytest.approx(10, rel=1e-5)


def test_long_immersion_ends_at_the_bound_part():
    out = blanch.simulate(replace(LAB, drag_out_kg_per_kg=0), replace(KELP, immersion_s=7200))
    bound = 0.03 * 4605 * out.dry_matter_in_kg / out.dry_matter_kg
    assert out.iodine_mg_kg_dw == pytest.approx(bound, rel=0.03)


def test_no_reheating_no_losses_leaf_and_bath_meet_in_the_middle():
    # Two bodies without losses: both end at the mean weighted by heat capacity.
    heating = warm(
        leaf_c=10,
        bath_c=80,
        leaf_j_k=3e5,
        bath_j_k=6e5,
        mass_j_kg_k=3900,
        half_thickness_m=5e-4,
        heat_transfer_w_m2_k=500,
        immersion_s=600,
    )
    assert heating.mean_c[-1] == pytest.approx((10 * 3e5 + 80 * 6e5) / 9e5, abs=1e-6)
    assert np.all(heating.middle_c <= heating.mean_c + 1e-9)


@pytest.mark.parametrize(
    ("biot", "zeta"),
    [(0.01, 0.0998), (0.1, 0.3111), (1.0, 0.8603), (10.0, 1.4289), (100.0, 1.5552)],
)
def test_slab_roots_against_the_usual_table(biot, zeta):
    # First-term slab coefficients as every heat-transfer text prints them (from memory, but each
    # is the root of zeta tan zeta = Bi, checked here too). Tolerance: four printed digits.
    assert first_root(biot) == pytest.approx(zeta, abs=6e-5)
    assert first_root(biot) * math.tan(first_root(biot)) == pytest.approx(biot, rel=1e-9)


# --- conservation ---------------------------------------------------------------------------

baths = st.builds(
    Bath,
    water_kg=st.floats(300, 5000),
    temperature_c=st.floats(45, 98),
    medium=st.sampled_from(["water", "seawater"]),
    dip_kg=st.floats(5, 150),
    refresh_kg_per_kg=st.floats(0, 5),
    dump_solids_fraction=st.one_of(st.none(), st.floats(0.037, 0.08)),
    heater_kw=st.floats(10, 400),
    evaporation_kg_h=st.floats(0, 60),
    drag_out_kg_per_kg=st.floats(0, 0.4),
    turn_s=st.floats(0, 300),
)
runs = st.builds(
    BlanchRun,
    leaf_id=st.sampled_from(["sugar_kelp_raw", "wakame_blade"]),
    mass_kg=st.floats(5, 2000),
    moisture_wb=st.floats(0.7, 0.95),
    immersion_s=st.floats(2, 600),
    leaf_temperature_c=st.floats(0, 30),
    iodine_mg_kg_dw=st.floats(0, 8000),
    water_change_fraction=st.floats(-0.3, 0.3),
)


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(bath=baths, run=runs, steady=st.booleans())
def test_water_energy_dry_matter_and_iodine_close_on_random_runs(bath, run, steady):
    if steady:
        bath = replace(bath, dip_kg=0.0, feed_kg_h=400.0)
    out = blanch.simulate(bath, run)
    assert out.water_residual < 1e-9
    assert out.energy_residual < 1e-9
    assert out.dry_matter_residual < 1e-9
    assert out.iodine_residual < 1e-9
    assert out.mass_out_kg == pytest.approx(out.dry_matter_kg / (1 - out.moisture_wb_out))
    assert out.water_removed_kg == pytest.approx(
        run.mass_kg * run.moisture_wb - (out.mass_out_kg - out.dry_matter_kg)
    )
    assert out.dry_matter_kg + out.dry_matter_leached_kg == pytest.approx(out.dry_matter_in_kg)
    assert 0 < out.moisture_wb_out < 1
    assert out.moisture_wb_out_sd > 0
    assert out.leaf_temperature_max_c <= bath.temperature_c + 1e-6


@settings(deadline=None, max_examples=25)
@given(seconds=st.floats(5, 400), more=st.floats(1, 200))
def test_longer_in_clean_water_never_leaves_more_iodine(seconds, more):
    short = blanch.simulate(LAB, replace(KELP, immersion_s=seconds))
    longer = blanch.simulate(LAB, replace(KELP, immersion_s=seconds + more))
    # In mg: per dry kg it may rise at the end, when organic matter still leaves.
    left = longer.iodine_mg_kg_dw * longer.dry_matter_kg
    assert left <= short.iodine_mg_kg_dw * short.dry_matter_kg * (1 + 1e-9)


# --- published ------------------------------------------------------------------------------


def test_nielsen_2020_iodine_4605_to_293():
    # Nielsen et al. 2020 (abstract): 4605 -> 293 mg/kg dw at 80 degC, 120 s. The rate was
    # calibrated on it, so this holds the calibration; tolerance 1 %.
    assert blanch.simulate(LAB, KELP).iodine_mg_kg_dw == pytest.approx(293, rel=0.01)


def test_foods_2025_alaria_keeps_11_percent_in_tap_water():
    # Foods 2025 14(23):4113 (abstract): 11 % left, 80 degC 2 min; calibrated; one printed digit.
    out = blanch.simulate(LAB, replace(KELP, leaf_id="wakame_blade"))
    assert out.iodine_mg_kg_dw / 4605 == pytest.approx(0.11, abs=0.005)


@pytest.mark.parametrize(
    ("leaf_id", "tap", "sea"), [("sugar_kelp_raw", 7, 5), ("wakame_blade", 11, 8)]
)
def test_foods_2025_seawater_leaves_less_iodine_per_dry_kg_than_tap_water(leaf_id, tap, sea):
    # Foods 2025 14(23):4113 (abstract): 5 against 7 %, 8 against 11 %. Not fitted: the model says
    # it because leaf keeps its salts in sea water. Tolerance 15 %: the published percents are
    # whole numbers (+-7 % each), and how much salt leaf takes up is our assumption.
    run = replace(KELP, leaf_id=leaf_id)
    tap_out = blanch.simulate(LAB, run).iodine_mg_kg_dw
    sea_out = blanch.simulate(replace(LAB, medium="seawater"), run).iodine_mg_kg_dw
    assert sea_out / tap_out == pytest.approx(sea / tap, rel=0.15)


def test_nielsen_2020_the_drop_starts_between_30_and_45_degrees():
    # Nielsen et al. 2020 (abstract): significant at 45 degC and above from 30 s; the model must
    # take little at 30 degC and 30 s, and clearly more at 45 degC and 300 s.
    def left(temp, seconds):
        bath = replace(LAB, temperature_c=temp)
        return blanch.simulate(bath, replace(KELP, immersion_s=seconds)).iodine_mg_kg_dw / 4605

    assert left(30, 30) > 0.93
    assert left(45, 30) < 0.97
    assert left(45, 300) < 0.65
    assert left(80, 30) < left(60, 30) < left(45, 30)


def test_nitschke_2016_an_hour_in_cold_water_takes_about_62_percent():
    # Nitschke & Stengel 2016 (abstract): soaking 1-24 h removes 62 %; the activation energy was
    # chosen on the 1 h end. Rate only: exposure of one in an hour at 15 degC.
    assert 0.7 < float(leach_rate_per_s("saccharina", 15.0)) * 3600 < 1.4


def test_blikra_2021_boiling_takes_43_percent_of_arsenic():
    # Blikra et al. 2021, Table 5 (read): total As -43 % to 36 mg/kg dw in 15 min boil; calibrated.
    out = blanch.simulate(replace(LAB, temperature_c=100), replace(KELP, immersion_s=900))
    assert out.arsenic_mg_kg_dw == pytest.approx(36, rel=0.02)


def test_blikra_2021_cadmium_is_not_removed_so_its_content_rises():
    # Blikra et al. 2021 (read): no significant removal of Cd, Pb, Hg.
    out = blanch.simulate(LAB, replace(KELP, cadmium_mg_kg_dw=1.2))
    assert out.cadmium_mg_kg_dw * out.dry_matter_kg == pytest.approx(1.2 * out.dry_matter_in_kg)
    assert out.cadmium_mg_kg_dw > 1.2 * 1.1
    assert any("cadmium" in w for w in out.warnings)


def test_blikra_2021_fifteen_percent_iodine_after_boiling_in_a_pot():
    # Blikra et al. 2021 (abstract): rinse and 15 min boil leaves 15 % on the mean (13 and 18 % by
    # depth), more than 2 min at 80 degC in a clean bath. Its water ratio was not seen; a pot of 8
    # to 12 kg water per kg leaf gives the printed range, a clean bath does not.
    def left(ratio):
        pot = Bath(water_kg=10 * ratio, dip_kg=10, temperature_c=100, heater_kw=1000)
        return blanch.simulate(pot, replace(KELP, immersion_s=900)).iodine_mg_kg_dw / 4605

    assert 0.13 <= left(12) < left(8) <= 0.185
    assert left(2000) < 0.06


def test_published_spread_of_six_residuals():
    # Six residuals of S. latissima in seaweed_iodine_blanching.csv (N20, F25, B21).
    logs = np.log([0.0636, 0.05, 0.07, 0.15, 0.18, 0.13])
    rows = {f"{f.subject}.{f.quantity}": f.value for f in read_figures("wareleaf.stages", "blanch")}
    assert rows["all.iodine_residual_log_sd"] == pytest.approx(logs.std(ddof=1), abs=0.005)
    assert rows["all.iodine_residual_log_mean"] == pytest.approx(logs.mean(), abs=0.005)


# --- the bath through the day ---------------------------------------------------------------


def test_the_bath_loads_up_and_later_leaf_keeps_more():
    out = blanch.simulate(replace(LINE, refresh_kg_per_kg=0), replace(LOAD, mass_kg=4000))
    assert np.all(np.diff(out.course_bath_solids_fraction) > 0)
    assert out.course_leaf_iodine_mg_kg_dw[-1] > 3 * out.course_leaf_iodine_mg_kg_dw[0]
    assert any("loads up" in w for w in out.warnings)


def test_dumping_and_fresh_water_keep_it_clean():
    strong = replace(LINE, heater_kw=900, refresh_kg_per_kg=0)
    dirty = blanch.simulate(strong, LOAD)
    fresh = blanch.simulate(replace(strong, refresh_kg_per_kg=4), LOAD)
    dumped = blanch.simulate(replace(strong, dump_solids_fraction=0.005), LOAD)
    assert fresh.iodine_mg_kg_dw < dirty.iodine_mg_kg_dw
    assert dumped.iodine_mg_kg_dw < dirty.iodine_mg_kg_dw
    assert dumped.dumps > 0
    assert dumped.heat_kwh > dirty.heat_kwh
    assert dumped.duration_h > dirty.duration_h


def test_finer_slices_do_not_change_a_steady_feed(monkeypatch):
    from wareleaf.stages import blanch_run

    coarse = blanch.simulate(LINE, LOAD)
    monkeypatch.setattr(blanch_run, "_SLICES", 600)
    fine = blanch.simulate(LINE, LOAD)
    assert coarse.iodine_mg_kg_dw == pytest.approx(fine.iodine_mg_kg_dw, rel=0.005)
    assert coarse.heat_kwh == pytest.approx(fine.heat_kwh, rel=0.005)


def test_a_small_heater_lets_the_bath_sag_and_says_so():
    weak = blanch.simulate(replace(LINE, heater_kw=20), LOAD)
    assert min(weak.course_bath_c) < 75
    assert "heater" in weak.warnings[0]


def test_fuel_and_electric_heat():
    steam = blanch.simulate(LINE, LOAD)
    oil = blanch.simulate(replace(LINE, fuel_kwh_kg=11.8), LOAD)
    power = blanch.simulate(replace(LINE, electric_heat=True), LOAD)
    assert steam.fuel_kg == 0
    assert oil.fuel_kg == pytest.approx(steam.heat_kwh / 0.85 / 11.8)
    assert power.electricity_kwh == pytest.approx(steam.electricity_kwh + steam.heat_kwh / 0.85)


# --- aim and project ------------------------------------------------------------------------


def test_aim_finds_the_seconds_and_no_fewer():
    found = blanch.aim(LAB, KELP, iodine_max_mg_kg_dw=1000)
    assert found.reachable
    assert found.result.iodine_worst_mg_kg_dw <= 1000
    shorter = replace(KELP, immersion_s=found.settings["immersion_s"] - 2)
    assert blanch.simulate(LAB, shorter).iodine_worst_mg_kg_dw > 1000


def test_aim_with_confidence_takes_longer():
    middle = blanch.aim(LAB, KELP, iodine_max_mg_kg_dw=1500)
    sure = blanch.aim(LAB, KELP, iodine_max_mg_kg_dw=1500, confidence=0.95)
    assert sure.settings["immersion_s"] > middle.settings["immersion_s"]


def test_aim_for_a_kill_heats_the_middle_of_the_blade():
    found = blanch.aim(replace(LAB, temperature_c=70), KELP, log_reduction_min=6)
    assert found.result.log_reduction_worst >= 6
    # 6 log at 70 degC is 120 s. With an exponential approach the warming costs
    # tau (gamma + ln y), y = dT ln(10)/z (exact for the first mode; tolerance 2 s: the bath
    # cools a little, the middle lags the mean, the search stops at 0.5 s).
    half = profile("sugar_kelp_raw").half_thickness_m
    cp = 0.92 * 4186 + 0.08 * profile("sugar_kelp_raw").specific_heat_dry_j_kg_k
    zeta = first_root(500 * half / 0.55)
    tau = half**2 / (0.55 / (1030 * cp) * zeta**2)
    warming = tau * (np.euler_gamma + math.log((70 - 8) * math.log(10) / 7.5))
    assert found.settings["immersion_s"] == pytest.approx(120 + warming, abs=2.5)


def test_aim_raises_the_set_point_only_when_time_is_not_enough():
    cool = replace(LAB, temperature_c=45)
    short = Limits(immersion_max_s=120)
    found = blanch.aim(cool, KELP, iodine_max_mg_kg_dw=1000, limits=short)
    assert found.reachable
    assert found.settings["temperature_c"] > 45
    assert "raised" in found.reason


def test_aim_says_why_when_it_cannot():
    found = blanch.aim(LAB, KELP, iodine_max_mg_kg_dw=20)
    assert not found.reachable
    assert "Not within" in found.reason
    assert found.result.log_reduction_worst > 1000.0
    assert "more than 12 decades in the middle" in found.reason


def test_project_without_readings_is_the_simulation_with_its_spread():
    seen = blanch.project(LINE, LOAD, [], iodine_max_mg_kg_dw=2400)
    plain = blanch.simulate(LINE, LOAD)
    assert seen.iodine_mg_kg_dw == pytest.approx(plain.iodine_mg_kg_dw)
    assert seen.finish_h == pytest.approx(plain.duration_h)
    assert 0 < seen.probability_within < 1
    assert seen.iodine_mg_kg_dw_sd > 0


@pytest.mark.slow
def test_project_learns_a_slower_leaf_from_its_iodine():
    truth = blanch.simulate(LINE, replace(LOAD, leach_factor=0.6))
    at = truth.course_time_h[40]
    reading = StageReading(at, "iodine_mg_kg_dw", truth.course_leaf_iodine_mg_kg_dw[40], 60.0)
    before = blanch.project(LINE, LOAD, [])
    after = blanch.project(LINE, LOAD, [reading])
    gap = abs(before.iodine_mg_kg_dw - truth.iodine_mg_kg_dw)
    assert abs(after.iodine_mg_kg_dw - truth.iodine_mg_kg_dw) < 0.3 * gap
    assert after.iodine_mg_kg_dw_sd < before.iodine_mg_kg_dw_sd


@pytest.mark.slow
def test_project_flags_a_reading_that_cannot_be():
    wild = StageReading(0.5, "bath_temperature_c", 55.0, 0.3)
    assert "does not fit" in blanch.project(LINE, LOAD, [wild]).note


# --- bad input and pedigree -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Bath(water_kg=-1, dip_kg=5), "water_kg"),
        (lambda: Bath(water_kg=100), "dip_kg"),
        (lambda: Bath(water_kg=100, dip_kg=5, feed_kg_h=5), "dip_kg"),
        (lambda: Bath(water_kg=100, dip_kg=5, medium="milk"), "medium"),
        (lambda: Bath(water_kg=100, dip_kg=5, temperature_c=140), "temperature_c"),
        (lambda: replace(KELP, leaf_id="tea_black"), "leaf_id"),
        (lambda: replace(KELP, leaf_id="bracken"), "leaf"),
        (lambda: replace(KELP, moisture_wb=1.3), "moisture_wb"),
        (lambda: replace(KELP, mass_kg=-3), "mass_kg"),
        (lambda: replace(KELP, immersion_s=math.nan), "immersion_s"),
        (lambda: blanch.simulate(Bath(water_kg=5, dip_kg=10), KELP), "dip_kg"),
        (lambda: blanch.aim(LAB, KELP), "iodine_max_mg_kg_dw"),
        (
            lambda: blanch.simulate(
                Bath(water_kg=50, dip_kg=5, heater_kw=0.1, evaporation_kg_h=1e4),
                replace(KELP, mass_kg=100),
            ),
            "evaporation_kg_h",
        ),
        (
            lambda: blanch.simulate(
                replace(LAB, medium="seawater", dump_solids_fraction=0.02), KELP
            ),
            "dump_solids_fraction",
        ),
    ],
)
def test_bad_input_names_its_field(make, field):
    with pytest.raises(BadInput) as caught:
        make()
    assert field in caught.value.problems[0].field


def test_every_blanch_figure_has_a_source():
    sources = read_sources("wareleaf.stages")
    for row in read_figures("wareleaf.stages", "blanch"):
        assert row.source in sources
        assert row.note or row.place or row.evidence in ("memory", "demo")


def test_the_minerals_that_leave_are_part_of_the_dry_matter_that_leaves():
    bath = Bath(50_000.0, dip_kg=50.0)
    found = blanch.simulate(
        bath, BlanchRun("sugar_kelp_raw", 50.0, 0.9, 4605.0, immersion_s=3600.0)
    )
    free = 1.0 - figure("all.minerals_bound_fraction")
    brought = figure("saccharina.minerals_fraction_dw") * 5.0
    # An hour in a bath a thousand times the leaf takes all that is free, less the drag-out's.
    assert found.minerals_leached_kg == pytest.approx(free * brought, rel=0.01)
    assert 0.0 < found.minerals_leached_kg <= found.dry_matter_leached_kg
    left = found.minerals_fraction_dw * found.dry_matter_kg
    assert left + found.minerals_leached_kg == pytest.approx(brought)
    salted = blanch.simulate(Bath(50_000.0, dip_kg=50.0, medium="seawater"),
                      BlanchRun("sugar_kelp_blanched", 50.0, 0.9, 0.0))  # fmt: skip
    assert salted.minerals_fraction_dw > found.minerals_fraction_dw
