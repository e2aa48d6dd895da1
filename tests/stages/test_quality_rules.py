"""Heat of real runs against the leaf's limit, and the rules of stewing, case hardening and harm."""

import math
from dataclasses import replace

import numpy as np
import pytest
from sun_weathers import still

from wareleaf import leaf
from wareleaf.measure import BadInput
from wareleaf.stages import dry, hold, mill, quality, sun_dry, wither
from wareleaf.stages.quality import DryingAir, Loss
from wareleaf.stages.quality_rules import case_hardening, entering_wb, stewing, tea_heat

BELT = dry.BeltDryer(
    area_m2=40.0, zones=(dry.Zone(0.5, 58.0, 0.5, 0.8), dry.Zone(0.5, 55.0, 0.4, 0.8, "down"))
)
KELP = dry.DryRun("sugar_kelp_blanched", 0.88, 4.0, 90.0)
TEA = leaf.profile("tea_black")
LOSS = Loss("vitamin_c", 0.2, 55.0, 50e3, rate_relative_sd=0.1)


def air(inlet_c, *, exhaust_c=55.0, minutes=20.0, fluid_bed=False, entering=(0.6,)):
    return DryingAir((inlet_c,) * len(entering), entering, exhaust_c, minutes, fluid_bed)


@pytest.fixture(scope="module")
def dried():
    return dry.simulate(BELT, KELP)


def test_the_layers_of_a_dryer_average_to_the_course_of_its_result(dried):
    trace = quality.dryer_trace(BELT, KELP)
    assert trace.time_h == pytest.approx(dried.curve_time_h)
    assert trace.leaf_c.mean(axis=0) == pytest.approx(dried.curve_leaf_c)
    assert trace.leaf_c.max() <= dried.leaf_temperature_max_c + 1e-9


def test_a_dryer_run_is_judged_with_its_margin_and_its_losses(dried):
    found = quality.assess(dried, KELP.leaf_id, [LOSS], trace=quality.dryer_trace(BELT, KELP))
    limit = leaf.profile(KELP.leaf_id).leaf_temperature_max_c
    assert found.margin_k == pytest.approx(limit - dried.leaf_temperature_max_c)
    assert found.hours_over_limit == 0.0
    rows = {k.what: k for k in found.kept}
    assert 0.0 < rows["vitamin_c"].least < rows["vitamin_c"].kept < rows["vitamin_c"].high < 1.0
    assert rows["chlorophyll"].kept is None
    assert "No published constant" in rows["chlorophyll"].note
    assert "10 to 20 %" in rows["phenolics"].note  # Sappati 2019, abstract: falls 5-10-fold


def test_no_constant_means_no_number_for_any_leaf():
    """Theaflavin: no published rate or activation energy was found (reference page on tea)."""
    for leaf_id in leaf.profile_ids():
        found = quality.assess(quality.heat_trace([0, 1], [40, 50]), leaf_id)
        assert found.kept and all(k.kept is None for k in found.kept)
    for leaf_id, first in (("tea_green", "chlorophyll"), ("tea_black", "theaflavin")):
        found = quality.assess(quality.heat_trace([0, 1], [40, 50]), leaf_id)
        assert [k.what for k in found.kept] == [first, "phenolics"]


def test_hotter_air_leaves_less_margin_and_warns(dried):
    hot = replace(BELT, zones=tuple(replace(z, inlet_c=z.inlet_c + 25.0) for z in BELT.zones))
    found = quality.assess(dry.simulate(hot, KELP), KELP.leaf_id)
    assert found.margin_k < quality.assess(dried, KELP.leaf_id).margin_k
    assert found.margin_k < 0.0 < found.hours_over_limit
    assert any("loses quality" in w for w in found.warnings)
    assert any("case hardening" in w for w in found.warnings)


def test_time_over_a_temperature_is_exact_on_straight_lines():
    trace = quality.heat_trace([0, 2, 3, 3, 4, 5], [20, 60, 60, 40, 40, 80])
    assert trace.hours_above(50.0)[0] == pytest.approx(0.5 + 1.0 + 0.75)
    assert trace.hours_above(40.0)[0] == pytest.approx(1.0 + 1.0 + 1.0)
    assert trace.hours_above(80.0)[0] == 0.0
    assert trace.hours_above(10.0)[0] == pytest.approx(5.0)


def test_every_stage_with_a_course_can_be_judged():
    withered = wither.simulate(
        wither.Trough(),
        wither.WitherRun("tea_black", 1000.0, 0.78, (0.0, 12.0), (22.0, 22.0), (0.7, 0.7),
                         duration_h=8.0),
    )  # fmt: skip
    sunned = sun_dry.simulate(
        sun_dry.Ground(area_m2=100.0),
        sun_dry.SunRun("sugar_kelp_raw", 200.0, 0.88, still(6, ghi=600.0), 6.0),
    )
    waited = hold.simulate(hold.Place(), hold.HoldRun("sugar_kelp_raw", 800.0, 0.9))
    for result, leaf_id in (
        (withered, "tea_black"),
        (sunned, "sugar_kelp_raw"),
        (waited, "sugar_kelp_raw"),
    ):
        found = quality.assess(result, leaf_id, [LOSS])
        assert found.leaf_max_c == pytest.approx(result.leaf_temperature_max_c)
        assert 0.0 < {k.what: k for k in found.kept}["vitamin_c"].kept < 1.0
    assert not quality.assess(withered, "tea_black").warnings  # a wither is no firing
    milled = mill.simulate(mill.Mill(), mill.MillRun("sugar_kelp_blanched", 50.0, 0.1))
    with pytest.raises(BadInput, match="no course of leaf temperature"):
        quality.assess(milled, "sugar_kelp_blanched")


def test_a_wait_at_one_temperature_is_the_closed_form():
    run = hold.HoldRun("sugar_kelp_raw", 800.0, 0.9, 4.0, 8.0, (8.0,), respiration_w_kg_20c=0.0)
    loss = Loss("vitamin_c", 0.05, 8.0, 60e3)
    found = quality.assess(hold.simulate(hold.Place(), run), "sugar_kelp_raw", [loss])
    kept = {k.what: k for k in found.kept}["vitamin_c"].kept
    assert kept == pytest.approx(math.exp(-0.2), rel=1e-6)


def test_a_cool_exhaust_stews_tea_unless_it_is_quick():
    """Tocklai (read): exhaust below about 49 degC; Temple 2001 (abstract): none under 15 min."""
    assert stewing(TEA, 48.0, 20.0) and "stews" in stewing(TEA, 48.0, 20.0)[0].sentence
    assert not stewing(TEA, 50.0, 20.0)
    assert not stewing(TEA, 48.0, 14.0)
    assert not stewing(leaf.profile("sugar_kelp_blanched"), 30.0, 200.0)


def test_wet_leaf_in_air_hotter_than_usual_may_case_harden():
    """Chain dryers 82-99 degC (Tocklai, read), fluid beds 121-127 (read), apple above 60."""
    kelp = leaf.profile("sugar_kelp_blanched")
    assert not case_hardening(TEA, air(99.0))
    assert case_hardening(TEA, air(105.0))
    assert not case_hardening(TEA, air(105.0, fluid_bed=True))
    assert case_hardening(TEA, air(128.0, fluid_bed=True))
    assert not case_hardening(kelp, air(60.0, entering=(0.88,)))
    assert "no limit is published" in case_hardening(kelp, air(70.0, entering=(0.88,)))[0].sentence
    assert not case_hardening(kelp, air(70.0, entering=(0.05,)))  # dry leaf has no wet middle


def test_tea_must_get_hot_and_may_not_get_too_hot():
    """Temple 2001 (abstract): at least 80 degC; 110 harmful; up to 120 for under a minute."""
    assert "at least 80" in tea_heat("tea_black", TEA, 75.0, 0.0)[0].sentence
    assert not tea_heat("tea_green", leaf.profile("tea_green"), 75.0, 0.0)
    assert not tea_heat("tea_black", TEA, 105.0, 0.0)
    assert not tea_heat("tea_black", TEA, 118.0, 0.5 / 60.0)
    assert "harmful" in tea_heat("tea_black", TEA, 118.0, 2.0 / 60.0)[0].sentence
    assert "harmful" in tea_heat("tea_black", TEA, 122.0, 0.1 / 60.0)[0].sentence


def test_every_warning_of_a_rule_cites_its_source():
    hot = air(130.0, exhaust_c=40.0)
    rules = [*stewing(TEA, 40.0, 20.0), *case_hardening(TEA, hot), *tea_heat("t", TEA, 125.0, 1.0)]
    assert len(rules) == 3 and all(rule.sources for rule in rules)


def test_leaf_enters_a_zone_as_it_leaves_the_one_before():
    assert entering_wb(0.8, (0.5, 0.2, 0.1)) == (0.8, 0.5, 0.2)


def test_the_hottest_cell_is_the_one_over_the_limit():
    trace = quality.heat_trace([0, 2], np.array([[40.0, 40.0], [70.0, 70.0]]))
    found = quality.assess(trace, "sugar_kelp_blanched")
    assert (found.leaf_max_c, found.hours_over_limit) == (70.0, 2.0)
