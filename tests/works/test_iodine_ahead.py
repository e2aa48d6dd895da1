"""Iodine forecast for people is what the season says; the book keeps what the model said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from wareleaf.book import LotState
from wareleaf.works import bench, handle_lot
from wareleaf.works.bench import Found
from wareleaf.works.controls import full_settings
from wareleaf.works.floor import run_view
from wareleaf.works.house import Works
from wareleaf.works.predict import Prediction, aim, look_ahead, predict
from wareleaf.works.predict.baths import IODINE_AIM_MG_KG_DW
from wareleaf.works.properties import beliefs, lot_properties
from wareleaf.works.properties.ahead import iodine_ahead
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.settings import Equipment


def bath_and_lot(works: Works) -> tuple[Equipment, LotState]:
    machine = works.settings.equipment_of("bath-1")
    for run in works.book.runs(site="kelp", open_only=True):
        if run.equipment == machine.id:
            told = run_view(works, run.run_id).prediction
            assert told is not None
            take_off(works, run.run_id, told)
    lots = [
        lot
        for lot in works.book.lots(site="kelp", in_stock_only=True)
        if lot.leaf == "sugar_kelp_raw" and not lot.on_runs
    ]
    return machine, lots[-1]


def take_off(works: Works, run: str, told: Prediction) -> list[LotState]:
    off = Off(0.9 * told.mass_out_kg, told.moisture_wb_out, "kelp-balance", "kelp-floor-scale")
    return finish_run(works, "runa", run, [off])


def iodine_of(works: Works, lot_id: str) -> Any:
    return next(p for p in lot_properties(works, lot_id).properties if p.parameter == "iodine")


def blanched_with_a_result(works: Works) -> str:
    """A lot that came out of the bath and still lies there to be sampled."""
    lots = works.book.lots(site="kelp", in_stock_only=True)
    found = [lot for lot in lots if lot.leaf == "sugar_kelp_blanched" and lot.form == "dried"]
    return found[-1].lot_id


def add_result(works: Works, lot_id: str, value: float) -> None:
    sample = bench.take_sample(works, "mirel", lot_id, 200)
    found = Found("iodine", value, 0.03 * value, "mg/kg", "dry", 0.1)
    bench.record_result(works, "mirel", lot_id, sample, found)


def test_the_forecast_is_what_the_properties_say_once_the_leaf_is_off(demo_works: Works) -> None:
    machine, lot = bath_and_lot(demo_works)
    told = look_ahead(demo_works, machine, [lot], {}, demo_works.now())
    run = start_run(demo_works, "runa", machine.id, [lot.lot_id])
    on_the_floor = run_view(demo_works, run).prediction
    assert on_the_floor is not None
    assert on_the_floor.detail["iodine_mg_kg_dw"] == pytest.approx(told.detail["iodine_mg_kg_dw"])
    made = take_off(demo_works, run, told)
    held = iodine_of(demo_works, made[0].lot_id)
    # Doubts that are shares of the leaf are taken at estimates that moved by a pass.
    assert told.detail["iodine_mg_kg_dw"] == pytest.approx(held.value, rel=0.01)
    assert told.detail["iodine_mg_kg_dw_sd"] == pytest.approx(held.sd, rel=0.03)


def test_the_book_keeps_what_the_model_said_whatever_was_found(demo_works: Works) -> None:
    machine, lot = bath_and_lot(demo_works)
    model = predict(demo_works, machine, [lot], {}, demo_works.now())
    before = look_ahead(demo_works, machine, [lot], {}, demo_works.now())
    for value in (2400.0, 2500.0, 2600.0):
        add_result(demo_works, blanched_with_a_result(demo_works), value)
    after = look_ahead(demo_works, machine, [lot], {}, demo_works.now())
    assert after.detail["iodine_mg_kg_dw"] > 1.15 * before.detail["iodine_mg_kg_dw"]
    assert after.detail["bath_over_model"] > before.detail["bath_over_model"]
    run = start_run(demo_works, "runa", machine.id, [lot.lot_id])
    kept = demo_works.book.events_in_force(kind="stage_started")
    facts = next(e.facts for e in kept if e.facts["run_id"] == run)
    assert facts["predicted"]["iodine_kept"] == pytest.approx(model.detail["iodine_kept"])
    assert model.detail["iodine_kept"] == pytest.approx(after.detail["iodine_kept"])
    assert "iodine_mg_kg_dw" not in model.detail


def test_a_result_moves_the_forecast_of_a_run_that_is_on(demo_works: Works) -> None:
    machine, lot = bath_and_lot(demo_works)
    run = start_run(demo_works, "runa", machine.id, [lot.lot_id])
    before = run_view(demo_works, run).prediction
    add_result(demo_works, blanched_with_a_result(demo_works), 2500.0)
    after = run_view(demo_works, run).prediction
    assert before is not None
    assert after is not None
    assert after.detail["iodine_mg_kg_dw"] > before.detail["iodine_mg_kg_dw"]
    assert f"Iodine about {after.detail['iodine_mg_kg_dw']:.0f} mg" in after.advice
    assert after.advice.count("mg per kg") == 1


def test_two_lots_count_by_their_dry_matter(demo_works: Works) -> None:
    machine, lot = bath_and_lot(demo_works)
    parts = handle_lot.split(
        demo_works, "runa", lot.lot_id, [100.0, 200.0], meter="quay-scale", drawn_kg=300.0
    )
    shares = {p.lot_id: float(p.dry_g) for p in parts}
    both = iodine_ahead(demo_works, machine, lot.leaf, shares, 0.13)
    belief = beliefs(demo_works).known(beliefs(demo_works).season_of(lot.lot_id)[0], "iodine")
    assert both is not None
    assert belief is not None
    whole = sum(shares.values())
    mixed = belief.belief.mix({k: v / whole for k, v in shares.items()})
    assert both.before == pytest.approx(mixed[0])
    assert both.value == pytest.approx(both.kept * both.before)


def test_leaf_still_to_come_is_such_leaf(demo_works: Works) -> None:
    machine, lot = bath_and_lot(demo_works)
    come = iodine_ahead(demo_works, machine, lot.leaf, {}, 0.13)
    there = iodine_ahead(demo_works, machine, lot.leaf, {lot.lot_id: 1.0}, 0.13)
    assert come is not None
    assert there is not None
    assert come.value == pytest.approx(there.value, rel=0.25)
    assert come.bath == pytest.approx(there.bath)
    assert come.sd >= 0.9 * there.sd
    assert iodine_ahead(demo_works, machine, "tea_black", {}, 0.13) is None


def test_settings_are_found_for_the_iodine_that_is_believed(demo_works: Works) -> None:
    """Where the aim is reached, the forecast at its settings says the same milligrams."""
    _, lot = bath_and_lot(demo_works)
    machine = demo_works.settings.equipment_of("bath-1")
    more = {"refresh_kg_per_kg": 8.0, "heater_kw": 3000.0, "residual_factor": 0.4}
    clean = machine.model_copy(update={"settings": {**machine.settings, **more}})
    found, reason, reachable = aim(demo_works, clean, [lot], {}, demo_works.now())
    assert reachable, reason
    chosen = full_settings(clean, found)
    told = look_ahead(demo_works, clean, [lot], chosen, demo_works.now())
    said = float(reason.split("leaves ")[1].split(" mg")[0])
    assert told.detail["iodine_mg_kg_dw"] == pytest.approx(said, rel=0.03)
    assert said <= IODINE_AIM_MG_KG_DW


def test_wash_and_dryer_say_nothing_of_a_bath(demo_works: Works) -> None:
    lots = [
        lot
        for lot in demo_works.book.lots(site="kelp", in_stock_only=True)
        if lot.leaf == "sugar_kelp_raw" and not lot.on_runs
    ]
    wash = demo_works.settings.equipment_of("wash-1")
    told = look_ahead(demo_works, wash, [lots[-1]], {}, demo_works.now())
    assert told == replace(predict(demo_works, wash, [lots[-1]], {}, demo_works.now()))
