"""Jobs of the works that pages lean on: doubt and age travel with leaf, routes, whereabouts."""

from __future__ import annotations

import pytest
from web_works import Seeded

from wareleaf.measure.errors import BadInput
from wareleaf.works import handle_lot
from wareleaf.works.correct_weights import correct_value, correct_weights
from wareleaf.works.floor import run_view
from wareleaf.works.leaf_now import leaf_now
from wareleaf.works.next_stage import candidates, machines_for, next_stages
from wareleaf.works.record import moisture_sd
from wareleaf.works.run_stage import record_reading
from wareleaf.works.take_in import ASSUMED_MOISTURE_SD, Load, take_in


def test_a_part_is_as_doubtful_as_the_lot_it_came_from(seeded: Seeded) -> None:
    book = seeded.works.book
    lot = book.lot(seeded.lots["tea b"])
    assert moisture_sd(lot) == pytest.approx(ASSUMED_MOISTURE_SD, rel=1e-3)
    parts = handle_lot.split(seeded.works, "davin", lot.lot_id, [200.0, 380.0], meter="leaf-scale")
    for part in parts:
        assert moisture_sd(part) == pytest.approx(ASSUMED_MOISTURE_SD, rel=1e-2)


def test_combined_leaf_is_as_old_as_the_oldest_of_it(seeded: Seeded) -> None:
    works = seeded.works
    old = works.book.lot(seeded.lots["tea b"])
    seeded.clock.later(4.0)
    young = take_in(works, "davin", Load("field-b", 300.0, 40.0, "leaf-scale"))[1]
    mixed = handle_lot.combine(works, "davin", [young.lot_id, old.lot_id])
    assert mixed.attributes["cut_at"] == old.attributes["cut_at"]
    assert mixed.attributes["source"] == "field-b"
    other = take_in(works, "davin", Load("field-a", 300.0, 40.0, "leaf-scale"))[1]
    of_two = handle_lot.combine(works, "davin", [mixed.lot_id, other.lot_id])
    assert "source" not in of_two.attributes, "two fields are not one"


def test_a_wash_makes_no_leaf_younger(seeded: Seeded) -> None:
    book = seeded.works.book
    fresh, washed = book.lot(seeded.lots["kelp b"]), book.lot(seeded.lots["washed b"])
    assert washed.attributes["cut_at"] == fresh.attributes["cut_at"]
    assert "cut_at" not in book.lot(seeded.lots["blanched"]).attributes


@pytest.mark.parametrize(
    ("name", "stages"),
    [
        ("tea b", ("wither",)),
        ("washed b", ("blanch",)),
        ("wakame washed", ("dry",)),
        ("flake", ("pack",)),
    ],
)
def test_a_lot_goes_where_the_routes_of_its_products_lead(
    seeded: Seeded, name: str, stages: tuple[str, ...]
) -> None:
    lot = seeded.works.book.lot(seeded.lots[name])
    assert next_stages(seeded.works, lot) == stages
    assert {m.stage for m in machines_for(seeded.works, lot)} == set(stages)


def test_lots_that_fit_a_machine_stand_first(seeded: Seeded) -> None:
    bath = seeded.works.settings.equipment_of("bath-1")
    found = candidates(seeded.works, bath)
    assert [c.lot.lot_id for c in found if c.fits] == [seeded.lots["washed b"]]
    assert found[0].fits and found[0].waits is not None
    assert seeded.lots["wakame washed"] not in [c.lot.lot_id for c in found], "it is on a belt"


def test_leaf_on_a_trough_dries_between_two_looks(seeded: Seeded) -> None:
    view = run_view(seeded.works, seeded.runs["trough"])
    now = leaf_now(view, seeded.clock())
    later = leaf_now(view, seeded.clock().replace(hour=14))
    assert now and later
    assert now.start_wb == pytest.approx(0.77, abs=1e-4)
    assert later.now_wb < now.now_wb < now.start_wb
    assert now.low_wb < now.now_wb < now.high_wb
    assert now.target_wb == pytest.approx(0.68)


def test_a_reading_is_corrected_in_its_own_unit(seeded: Seeded) -> None:
    works, run = seeded.works, seeded.runs["trough"]
    event = record_reading(works, "davin", run_id=run, meter="tea-quick", value=0.07)
    correct_value(works, "ilsa", event.event_id, "a digit was lost", 0.70)
    values = [float(e.facts["value"]) for e in run_view(works, run).readings]
    assert values[-1] == 0.70 and 0.07 not in values
    with pytest.raises(BadInput, match="corrected already"):
        correct_value(works, "ilsa", event.event_id, "again", 0.71)


def test_a_correction_that_would_take_leaf_from_a_later_stage_is_refused(seeded: Seeded) -> None:
    works, lot = seeded.works, seeded.lots["kelp"]  # 600 kg, all of it washed since
    event = works.book.lot(lot).made_by
    before = works.book.lot(lot)
    with pytest.raises(BadInput):
        correct_weights(works, "ilsa", event, "misread", {lot: (300.0, 0.9)})
    assert works.book.lot(lot) == before
    with pytest.raises(BadInput, match="did not make lot"):
        correct_weights(works, "ilsa", event, "misread", {"K6-0000-00": (600.0, 0.9)})
