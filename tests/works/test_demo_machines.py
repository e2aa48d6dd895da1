"""The demo's machines give believable runs: the ranges are common practice, no source."""

from datetime import datetime

import pytest

from wareleaf.stages import blanch, dry, roll, wither
from wareleaf.works import machines
from wareleaf.works.demo.generate import settings_file
from wareleaf.works.demo.outcomes import air_on
from wareleaf.works.house import Works
from wareleaf.works.settings import read_settings

SETTINGS = read_settings(settings_file())


def started_at(machine_id: str, name: str) -> float:
    return SETTINGS.equipment_of(machine_id).defaults[name]


@pytest.mark.parametrize("belt", ["belt-1", "belt-2"])
def test_a_belt_dries_blanched_kelp_to_about_ten_percent_without_cooking_it(belt):
    machine = SETTINGS.equipment_of(belt)
    run = dry.DryRun(
        leaf_id="sugar_kelp_blanched",
        moisture_wb=0.935,
        residence_h=started_at(belt, "residence_h"),
        feed_kg_h=started_at(belt, "feed_kg_h"),
        mass_kg=1000.0,
        ambient_c=4.0,
        ambient_rh=0.8,
    )
    result = dry.simulate(machines.dryer_of(machine, {}), run)
    assert 0.07 < result.moisture_wb_out < 0.12
    assert result.leaf_temperature_max_c < 60.5
    assert 3.0 < result.heat_mj_per_kg_water < 6.0
    assert result.duration_h < 10.0  # a shift and a bit


def test_the_fluid_bed_takes_oxidised_leaf_to_three_percent_below_the_leaf_limit():
    machine = SETTINGS.equipment_of("bed-1")
    for moisture_wb in (0.62, 0.66):
        run = dry.DryRun(
            leaf_id="tea_black",
            moisture_wb=moisture_wb,
            residence_h=started_at("bed-1", "residence_h"),
            feed_kg_h=320.0,
            mass_kg=700.0,
            ambient_c=18.0,
            ambient_rh=0.7,
        )
        result = dry.simulate(machines.dryer_of(machine, {}), run)
        assert 0.015 < result.moisture_wb_out < 0.05
        assert result.leaf_temperature_max_c < 105.0
        assert 3.0 < result.heat_mj_per_kg_water < 7.0


@pytest.mark.parametrize("day", [(4, 19), (4, 28), (5, 4)])
def test_a_trough_withers_a_full_load_overnight_in_the_station_weather(day, tmp_path):
    works = Works(SETTINGS, book=None)
    start = datetime(2026, *day, 16, tzinfo=SETTINGS.zone)
    dry_bulb, humidity, pressure = air_on(works, "tea", start, 31)
    run = wither.WitherRun(
        leaf_id="tea_black",
        mass_kg=1200.0,
        moisture_wb=0.775,
        air_time_h=tuple(float(h) for h in range(31)),
        dry_bulb_c=tuple(dry_bulb),
        relative_humidity=tuple(humidity),
        pressure_pa=tuple(pressure),
        heating_k=(started_at("trough-1", "heating_k"),),
        duration_h=30.0,
    )
    trough = machines.trough_of(SETTINGS.equipment_of("trough-1"))
    hours = wither.project(trough, run, [], 0.68).finish_h
    assert 9.0 < hours < 18.0


def test_the_bath_brings_usual_iodine_well_below_a_thousand():
    machine = SETTINGS.equipment_of("bath-1")
    settings = dict(machine.defaults)
    run = blanch.BlanchRun(
        "sugar_kelp_raw", 1000.0, 0.92, iodine_mg_kg_dw=3900.0, immersion_s=settings["immersion_s"]
    )
    result = blanch.simulate(machines.bath_of(machine, settings), run)
    assert 300.0 < result.iodine_mg_kg_dw < 800.0
    assert 0.92 < result.moisture_wb_out < 0.95


def test_the_roller_keeps_leaf_below_its_limit():
    machine = SETTINGS.equipment_of("roller-1")
    run = roll.RollRun("tea_black", 800.0, 0.68, minutes=machine.defaults["minutes"])
    result = roll.simulate(machines.roller_of(machine), run)
    assert result.leaf_temperature_max_c <= 35.0


def test_the_machines_can_take_a_usual_day():
    """Feed hours of a usual landing and plucking, with the belt time, fit in the working day."""
    belts = [SETTINGS.equipment_of(b) for b in ("belt-1", "belt-2")]
    blanched_kg = 1.07 * (1050.0 + 1000.0)
    belt_h = blanched_kg / sum(b.rate_kg_h for b in belts) + belts[0].defaults["residence_h"]
    assert belt_h < 22.0 - 9.5
    bed = SETTINGS.equipment_of("bed-1")
    oxidised_kg = 0.7 * (1080.0 + 1020.0 + 960.0)
    assert oxidised_kg / bed.rate_kg_h < 22.0 - 8.5
