"""A weight comes from a scale of its own site, a moisture from a moisture meter of it."""

from importlib import resources
from pathlib import Path

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import handle_lot
from wareleaf.works.house import create_works
from wareleaf.works.rework import Part, rework
from wareleaf.works.run_stage import Off, finish_run, record_reading, start_run
from wareleaf.works.take_in import Load, take_in
from wareleaf.works.weighed_off import does_not_fit

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))
SCALES = ("leaf-scale", "kelp-balance", "kelp-pack-balance", "kelp-probe")


@pytest.fixture
def works(tmp_path):
    made = create_works(tmp_path / "works", SETTINGS)
    yield made
    made.book.close()


def load(scale="quay-scale", **more):
    return Load("line-11", gross_kg=300.0, tare_kg=0.0, meter=scale, **more)


def refused(works, act, words):
    before = len(works.book.events())
    with pytest.raises(BadInput, match=words):
        act()
    assert len(works.book.events()) == before


@pytest.mark.parametrize("scale", SCALES)
def test_a_load_and_its_parts_are_weighed_on_a_scale_of_the_site(works, scale):
    words = r"for weights in kg at Varrowmouth kelp works there are: quay-scale, kelp-floor-scale\."
    refused(works, lambda: take_in(works, "teo", load(scale)), words)
    lot = take_in(works, "teo", load())[1].lot_id
    refused(works, lambda: handle_lot.split(works, "teo", lot, [9.0], meter=scale), words)
    refused(
        works,
        lambda: rework(works, "ilsa", {lot: 9.0}, [Part(8.0, "washed")], "r", meter=scale),
        words,
    )
    run = start_run(works, "runa", "belt-1", [lot])
    off = Off(36.0, 0.09, moisture_meter="kelp-oven", scale=scale)
    refused(works, lambda: finish_run(works, "runa", run, [off]), words)


@pytest.mark.parametrize("meter", ["tea-quick", "quay-scale", "kelp-probe"])
def test_moisture_is_measured_by_a_moisture_meter_of_the_site(works, meter):
    words = "for moisture at Varrowmouth kelp works there are: kelp-oven, kelp-balance, kelp-quick"
    wet = load(moisture_wb=0.9, moisture_meter=meter)
    refused(works, lambda: take_in(works, "teo", wet), words)
    lot = take_in(works, "teo", load())[1].lot_id
    run = start_run(works, "runa", "belt-1", [lot])
    off = Off(36.0, 0.09, moisture_meter=meter, scale="kelp-floor-scale")
    refused(works, lambda: finish_run(works, "runa", run, [off]), words)


def test_a_reading_is_of_the_site_of_its_lot(works):
    lot = take_in(works, "teo", load())[1].lot_id
    read = {"lot_id": lot, "meter": "tea-quick", "value": 0.9}
    refused(works, lambda: record_reading(works, "ilsa", **read), "is of Ummerdale tea works")
    assert record_reading(works, "teo", **(read | {"meter": "kelp-quick"})).site == "kelp"


def test_what_did_not_come_out_of_the_leaf_is_said_at_once(works):
    lot = take_in(works, "teo", load(moisture_wb=0.9, moisture_meter="kelp-quick"))[1].lot_id
    run = start_run(works, "runa", "belt-1", [lot])
    off = Off(360.0, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    finish_run(works, "runa", run, [off])
    assert "297.6 kg of dry matter too much came out" in does_not_fit(works, run)
    lot = take_in(works, "teo", load(moisture_wb=0.9, moisture_meter="kelp-quick"))[1].lot_id
    run = start_run(works, "runa", "belt-1", [lot])
    off = Off(32.5, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    finish_run(works, "runa", run, [off])
    assert does_not_fit(works, run) == ""
