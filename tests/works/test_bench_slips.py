"""Slips at the bench that could release a wrong lot: another sample, a wrong unit or name."""

from importlib import resources
from pathlib import Path

import pytest

from wareleaf.measure import BadInput
from wareleaf.release import Result
from wareleaf.works import bench
from wareleaf.works.house import create_works
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


@pytest.fixture
def works(tmp_path):
    made = create_works(tmp_path / "works", SETTINGS)
    for _ in range(2):
        take_in(made, "teo", Load("line-11", gross_kg=300.0, tare_kg=0.0, meter="quay-scale"))
    yield made
    made.book.close()


def keep(works, lot_id, sample, *, parameter="iodine", value=500.0, unit="mg/kg", **more):
    found = bench.Found(parameter, value, 10.0, unit, more.pop("basis", "dry"))
    return bench.record_result(works, "mirel", lot_id, sample, found, **more)


def refused(works, words, *args, **more):
    before = len(works.book.events())
    with pytest.raises(BadInput, match=words):
        keep(works, *args, **more)
    assert len(works.book.events()) == before


def test_a_result_speaks_of_a_sample_of_its_own_lot(works):
    mine, other = (lot.lot_id for lot in works.book.lots())
    of_other = bench.take_sample(works, "mirel", other, 50)
    refused(works, f"There is no sample S-1; take one of {mine} first", mine, "S-1")
    of_mine = bench.take_sample(works, "mirel", mine, 50)
    words = f"{of_other} was taken out of {other}; the samples of {mine} are: {of_mine}"
    refused(works, words, mine, of_other)
    assert keep(works, mine, of_mine).facts["sample_id"] == of_mine


def test_paper_from_before_the_book_may_name_samples_the_book_never_saw(works):
    mine, other = (lot.lot_id for lot in works.book.lots())
    of_other = bench.take_sample(works, "mirel", other, 50)
    assert keep(works, mine, "old 17", sampled_here=False).facts["sample_id"] == "old 17"
    refused(works, f"taken out of {other}", mine, of_other, sampled_here=False)


@pytest.mark.parametrize(
    ("parameter", "value", "unit", "basis"),
    [
        ("moisture", 109.0, "%", "wet"),
        ("iodine", 1000.1, "g/kg", "dry"),
        ("cadmium", 1.1e6, "mg/kg", "wet"),
    ],
)
def test_a_kilogram_holds_no_more_than_a_kilogram(works, parameter, value, unit, basis):
    lot = works.book.lots()[0].lot_id
    sample = bench.take_sample(works, "mirel", lot, 50)
    more = {"parameter": parameter, "value": value, "unit": unit, "basis": basis}
    refused(works, "Is the unit right", lot, sample, **more)


def test_water_per_dry_matter_and_counts_have_no_such_end():
    assert Result("moisture", 900.0, 5.0, "%", "dry").value == 900.0
    assert Result("aerobic_plate_count", 3e6, 1e5, "cfu/g", "wet").value == 3e6


@pytest.mark.parametrize("typed", ["cadmiun", "Cadmium", "inorganic arsenic"])
def test_a_misspelt_name_is_asked_back(works, typed):
    lot = works.book.lots()[0].lot_id
    sample = bench.take_sample(works, "mirel", lot, 50)
    refused(works, "is it (cadmium|inorganic_arsenic)", lot, sample, parameter=typed, value=0.2)


def test_a_name_of_its_own_is_kept(works):
    lot = works.book.lots()[0].lot_id
    sample = bench.take_sample(works, "mirel", lot, 50)
    assert keep(works, lot, sample, parameter="fucoxanthin").facts["parameter"] == "fucoxanthin"
