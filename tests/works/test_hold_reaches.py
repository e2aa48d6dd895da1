"""A hold reaches what was made of the leaf and is still here; the rest cannot be shipped."""

from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

from wareleaf.measure import BadInput
from wareleaf.works import handle_lot, ship
from wareleaf.works.plain import plain
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


@pytest.fixture
def works(tmp_path):
    return fresh_works(tmp_path / "works", SETTINGS)


def load(works):
    _, lot = take_in(
        works, "teo", Load(source="line-01", gross_kg=400.0, tare_kg=20.0, meter="quay-scale")
    )
    return lot


def test_parts_of_a_held_lot_are_held_with_the_reason(works):
    lot = load(works)
    part, _ = handle_lot.split(works, "teo", lot.lot_id, [100.0, 280.0])
    handle_lot.hold(works, "bex", lot.lot_id, "diesel smell on the quay")
    held = works.book.lot(part.lot_id)
    assert held.status == "held"
    assert lot.lot_id in held.held_because


def test_freeing_one_part_leaves_the_other_held(works):
    lot = load(works)
    first, second = handle_lot.split(works, "teo", lot.lot_id, [100.0, 280.0])
    handle_lot.hold(works, "bex", lot.lot_id, "diesel smell on the quay")
    handle_lot.free(works, "bex", first.lot_id, "smelt again, clean")
    assert works.book.lot(first.lot_id).status == "open"
    assert works.book.lot(second.lot_id).status == "held"


def test_a_part_freed_from_a_held_lot_is_not_shipped_while_its_parent_is_held(works):
    lot = load(works)
    first, _ = handle_lot.split(works, "teo", lot.lot_id, [100.0, 280.0])
    handle_lot.hold(works, "bex", lot.lot_id, "diesel smell on the quay")
    handle_lot.free(works, "bex", first.lot_id, "smelt again, clean")
    before = len(works.book.events())
    with pytest.raises(BadInput, match=r"made of .* which is on hold: diesel"):
        ship.ship(works, "jorun", "southrim", {first.lot_id: None})
    assert len(works.book.events()) == before


def test_a_hold_is_corrected_and_keeps_its_own_reason(works):
    lot = load(works)
    held = handle_lot.hold(works, "bex", lot.lot_id, "diesel smell on the quay")
    first = handle_lot.correct(
        works, "ilsa", held.event_id, "slip added", changes={"document": "slip 12"}
    )
    assert works.book.lot(lot.lot_id).held_because == "diesel smell on the quay"
    facts = {"lot_id": lot.lot_id, "reason": "paraffin smell on the quay"}
    second = handle_lot.correct(
        works, "ilsa", first.event_id, "smelt again", changes={"facts": facts}
    )
    assert second.facts["reason"] == "smelt again"
    assert works.book.lot(lot.lot_id).held_because == "paraffin smell on the quay"
    assert works.book.event_in_force(held.event_id).document == "slip 12"
    void = handle_lot.correct(works, "ilsa", second.event_id, "another lot", void=True)
    assert works.book.lot(lot.lot_id).held_because == ""
    handle_lot.correct(works, "ilsa", void.event_id, "it was this lot after all")
    assert works.book.lot(lot.lot_id).held_because == "paraffin smell on the quay"
    assert works.book.verify().ok


def test_a_trace_has_a_plain_form_with_named_rows(works):
    lot = load(works)
    part, _ = handle_lot.split(works, "teo", lot.lot_id, [100.0, 280.0])
    told = plain(works.book.trace_back(part.lot_id))
    assert set(told) == {"lot_id", "direction", "nodes", "edges", "levels"}
    assert [n["lot_id"] for n in told["nodes"]] == [part.lot_id, lot.lot_id]
    assert told["edges"][0]["parent"] == lot.lot_id
    assert told["levels"] == [[part.lot_id], [lot.lot_id]]


def test_a_hold_needs_a_reason_and_a_person_who_may(works):
    lot = load(works)
    with pytest.raises(BadInput, match="say why"):
        handle_lot.hold(works, "bex", lot.lot_id, "  ")
    with pytest.raises(BadInput, match="may not hold"):
        handle_lot.hold(works, "auditor", lot.lot_id, "I should not")


def test_parts_that_outweigh_the_lot_are_refused_and_a_used_up_lot_says_so(works):
    lot = load(works)
    before = len(works.book.events())
    with pytest.raises(BadInput, match="more than the 380 kg drawn"):
        handle_lot.split(works, "teo", lot.lot_id, [300.0, 300.0])
    assert len(works.book.events()) == before
    handle_lot.split(works, "teo", lot.lot_id, [100.0, 280.0])
    with pytest.raises(BadInput, match="Nothing is left of"):
        handle_lot.split(works, "teo", lot.lot_id, [10.0])


def test_the_works_clock_is_used(tmp_path):
    at = datetime(2026, 4, 12, 7, 30, tzinfo=UTC)
    works = fresh_works(tmp_path / "then", SETTINGS)
    works = type(works)(works.settings, works.book, clock=lambda: at, folder=works.folder)
    lot = load(works)
    event = handle_lot.hold(works, "bex", lot.lot_id, "waits for a result")
    assert event.happened_at == at
