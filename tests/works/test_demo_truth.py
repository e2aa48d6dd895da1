"""In the demo's hidden world dry matter is conserved and meters are as good as they say."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from wareleaf.works.demo import outcomes
from wareleaf.works.demo.agenda import Agenda
from wareleaf.works.demo.generate import settings_file
from wareleaf.works.demo.truth import Chance, Meters, TrueLeaf, kelp, tea, together
from wareleaf.works.settings import read_settings

SETTINGS = read_settings(settings_file())
MORNING = datetime(2026, 4, 20, 8, tzinfo=SETTINGS.zone)


def test_sifting_and_milling_lose_nothing():
    leaf = TrueLeaf("tea_black", 800.0, 776.0)
    grades = outcomes.sifted(SETTINGS.equipment_of("sifter-1"), leaf, Chance(1, "sift"))
    assert sum(g.mass_kg for _, g in grades) == pytest.approx(800.0, rel=1e-9)
    assert sum(g.dry_kg for _, g in grades) == pytest.approx(776.0, rel=1e-9)
    flake = TrueLeaf("sugar_kelp_blanched", 60.0, 54.0)
    ground, dust, _ = outcomes.milled(SETTINGS.equipment_of("mill-1"), flake, 300.0)
    assert dust.mass_kg > 0.0
    assert ground.mass_kg + dust.mass_kg == pytest.approx(60.0, rel=1e-3)


def test_rolling_and_the_floor_take_water_only():
    leaf = TrueLeaf("tea_black", 700.0, 224.0)
    rolled, hours = outcomes.rolled(SETTINGS.equipment_of("roller-1"), leaf, 40.0)
    oxidised, _ = outcomes.oxidised(SETTINGS.equipment_of("floor-1"), rolled, 90.0, 1.0, 1.0)
    assert rolled.dry_kg == oxidised.dry_kg == 224.0
    assert oxidised.mass_kg < rolled.mass_kg < 700.0
    assert hours == pytest.approx(3 * 45.0 / 60.0)


def test_the_bath_takes_dry_matter_and_most_of_the_iodine():
    leaf = kelp(Chance(1, "kelp"), "sugar_kelp_raw", 1000.0)
    out = outcomes.blanched(
        SETTINGS.equipment_of("bath-1"), leaf, {"temperature_c": 82.0, "immersion_s": 180.0}
    )
    assert 0.6 * leaf.dry_kg < out.dry_kg < leaf.dry_kg
    assert out.iodine_mg_kg < 0.3 * leaf.iodine_mg_kg
    assert out.metals_mg_kg == leaf.metals_mg_kg


def test_lots_together_keep_mass_and_mean_contents():
    parts = [kelp(Chance(1, n), "sugar_kelp_raw", 500.0 + 100.0 * n) for n in range(3)]
    whole = together(parts)
    assert whole.dry_kg == pytest.approx(sum(p.dry_kg for p in parts))
    iodine_mg = sum(p.iodine_mg_kg * p.dry_kg for p in parts)
    assert whole.iodine_mg_kg * whole.dry_kg == pytest.approx(iodine_mg)


def test_a_meter_scatters_as_its_uncertainty_says():
    meters, chance = Meters(SETTINGS), Chance(3, "noise")
    seen = [meters.read("tea-quick", 0.68, chance, MORNING) for _ in range(2000)]
    sd = SETTINGS.meter_of("tea-quick").sd(0.68)
    # Cut off at 2.6 standard deviations a normal keeps 0.965 of its spread (own integral).
    assert np.std(seen) == pytest.approx(0.965 * sd, rel=0.06)
    assert np.mean(seen) == pytest.approx(0.68, abs=4.0 * sd / 2000**0.5)


def test_a_drifting_meter_runs_away_from_its_day_on_and_others_do_not():
    start = MORNING + timedelta(days=1)
    meters = Meters(SETTINGS, "kelp-quick", start, 0.004)

    def error(meter: str, at: datetime) -> float:
        chance = Chance(5, meter, at)
        return float(np.mean([meters.read(meter, 0.1, chance, at) - 0.1 for _ in range(800)]))

    assert error("kelp-quick", MORNING) == pytest.approx(0.0, abs=0.001)
    assert error("kelp-quick", start + timedelta(days=5)) == pytest.approx(0.02, abs=0.001)
    assert error("kelp-balance", start + timedelta(days=5)) == pytest.approx(0.0, abs=0.001)


def test_chance_depends_on_seed_and_key_alone():
    def first(*key: object) -> float:
        return Chance(*key).normal(0.0, 1.0)

    assert first(1, "a", 2) == first(1, "a", 2)
    assert len({first(1, "a", 2), first(2, "a", 2), first(1, "a", 3)}) == 3


def test_tea_and_kelp_come_in_wet():
    assert 0.88 < kelp(Chance(1, "w"), "wakame_blade", 800.0).moisture_wb < 0.92
    assert 0.74 < tea(Chance(1, "t"), "tea_black", 1000.0).moisture_wb < 0.81


def test_the_agenda_wakes_doings_in_order_of_time_and_stops_where_it_is_told():
    agenda, seen = Agenda(MORNING), []

    def doing(name: str, *minutes: int):
        for m in minutes:
            yield MORNING + timedelta(minutes=m)
            seen.append((name, m))
            assert agenda.clock() == MORNING + timedelta(minutes=m)

    agenda.start(doing("a", 10, 30, 50))
    agenda.start(doing("b", 20, 30, 70))
    agenda.run(MORNING + timedelta(minutes=60))
    assert seen == [("a", 10), ("b", 20), ("a", 30), ("b", 30), ("a", 50)]
    assert agenda.now == MORNING + timedelta(minutes=60)
