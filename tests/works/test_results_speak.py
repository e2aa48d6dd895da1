"""Whose results speak for a lot: those of all its parents, as the book stands now."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

from wareleaf.book import Draw
from wareleaf.works import bench, handle_lot
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


@pytest.fixture
def works(tmp_path):
    return fresh_works(tmp_path / "works", SETTINGS)


def dried(works):
    load = Load(source="line-11", gross_kg=300.0, tare_kg=0.0, meter="quay-scale")
    _, fresh = take_in(works, "teo", load)
    run_id = start_run(works, "runa", "belt-1", [fresh.lot_id])
    off = Off(36.0, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    return finish_run(works, "runa", run_id, [off])[0]


def iodine(works, lot_id, value, sample=""):
    sample = sample or bench.take_sample(works, "mirel", lot_id, 50)
    found = bench.Found("iodine", value, 0.05 * value, "mg/kg", "dry")
    bench.record_result(works, "mirel", lot_id, sample, found)


def values(works, lot_id):
    return [(on, r.value) for on, r, _ in bench.results_of(works, lot_id)]


def test_a_split_that_was_put_on_another_lot_takes_that_lots_results(works):
    wrong, right = dried(works), dried(works)
    iodine(works, wrong.lot_id, 300.0)
    iodine(works, right.lot_id, 1800.0)
    part = handle_lot.split(
        works, "runa", wrong.lot_id, [10.0], meter="kelp-floor-scale", drawn_kg=10.0
    )[0]
    assert values(works, part.lot_id) == [(wrong.lot_id, 300.0)]
    split = works.book.event(part.made_by).event
    moved = tuple(replace(d, lot_id=right.lot_id) for d in split.inputs)
    assert isinstance(moved[0], Draw)
    handle_lot.correct(works, "bex", split.event_id, "wrong bag", changes={"inputs": moved})
    assert values(works, part.lot_id) == [(right.lot_id, 1800.0)]


def test_a_result_on_one_of_two_lots_milled_together_does_not_speak_for_both(works):
    one, other = dried(works), dried(works)
    iodine(works, one.lot_id, 300.0)
    waits = bench.take_sample(works, "mirel", other.lot_id, 50)
    run_id = start_run(works, "runa", "mill-1", [one.lot_id, other.lot_id])
    off = Off(70.0, 0.08, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    both = finish_run(works, "runa", run_id, [off])[0]
    assert values(works, both.lot_id) == []
    iodine(works, other.lot_id, 900.0, waits)
    assert values(works, both.lot_id) == [(one.lot_id, 300.0), (other.lot_id, 900.0)]


def test_bags_of_one_lot_milled_together_are_that_lot_again(works):
    whole = dried(works)
    iodine(works, whole.lot_id, 300.0)
    bags = handle_lot.split(works, "runa", whole.lot_id, [20.0, 15.9], meter="kelp-floor-scale")
    run_id = start_run(works, "runa", "mill-1", [bag.lot_id for bag in bags])
    off = Off(35.0, 0.08, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    milled = finish_run(works, "runa", run_id, [off])[0]
    assert values(works, milled.lot_id) == [(whole.lot_id, 300.0)]
    iodine(works, milled.lot_id, 310.0)
    assert values(works, milled.lot_id)[0] == (milled.lot_id, 310.0)
