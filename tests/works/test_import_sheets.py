"""Sheets go into a fresh works whole, or not at all, and every bad row is told by its place."""

import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

import wareleaf.works.demo
from wareleaf.measure import BadInput
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.trace_lot import trace

DEMO = Path(wareleaf.works.demo.__file__).parent
NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)


@pytest.fixture
def works(tmp_path):
    made = fresh_works(tmp_path / "works", DEMO / "works.toml")
    yield replace(made, clock=lambda: NOW)
    made.book.close()


@pytest.fixture
def sheets(tmp_path):
    return Path(shutil.copytree(DEMO / "sheets", tmp_path / "sheets"))


def edit(sheets: Path, name: str, old: str, new: str) -> None:
    path = sheets / name
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def refused(works, sheets) -> str:
    """What the import says; nothing may be written."""
    before = len(works.book.events())
    with pytest.raises(BadInput) as caught:
        import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    assert len(works.book.events()) == before
    assert works.book.verify().ok
    return "\n".join(p.message for p in caught.value.problems)


def test_the_example_goes_in_whole(works, sheets):
    report = import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    assert report.recorded
    assert [(s.file, s.rows) for s in report.sheets] == [
        ("weighment.csv", 5),
        ("troughs.csv", 3),
        ("dryer-book.csv", 6),
        ("dryer-book.csv", 2),
        ("lab.csv", 6),
        ("shipments.csv", 2),
    ]
    assert len(works.book.events()) == report.events
    assert len(works.book.lots()) == report.lots == 14
    assert works.book.verify().ok
    assert works.book.unbalanced() == []

    own = {lot.attributes["own_number"]: lot for lot in works.book.lots()}
    load = own["4101"]
    # 1.012,5 kg less 42,0 kg, at 86,4 %
    assert (load.mass_g, load.dry_g) == (970_500, round(970_500 * 0.136))
    assert load.made_at.isoformat() == "2026-03-23T06:40:00-01:00"  # Azores, before summer time
    assert own["5303"].form == "dried"
    back = trace(works, own["4131"].lot_id)
    assert {o.source_id for o in back.origins} == {"line-01", "line-02"}
    assert sum(o.share for o in back.origins) == pytest.approx(1.0)
    below = [e for e in works.book.events(kind="result") if e.event.facts["below_loq"]]
    assert [e.event.facts["value"] for e in below] == [0.05]


def test_expanded_uncertainty_is_halved_and_the_importer_is_named(works, sheets):
    import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    first = works.book.events(kind="result")[0].event
    assert first.facts["standard_uncertainty"] == 7.0  # 14 at k = 2
    assert (first.who, first.document) == ("mirel", "LR-771")
    assert first.why == "imported by ilsa: lab.csv, line 2"


def test_a_preview_says_the_same_and_keeps_nothing(works, sheets):
    seen = import_sheets(works, "ilsa", sheets, sheets / "mapping.toml", preview=True)
    assert works.book.events() == []
    done = import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    assert replace(seen, recorded=True) == done


def test_what_was_released_on_paper_leaves_and_the_rest_is_held(works, sheets):
    report = import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    lots = {lot.attributes["own_number"]: lot for lot in works.book.lots()}
    assert lots["4133"].shipped_mass_g == 60_000
    assert lots["4133"].status == "held"
    assert lots["4133"].released_for == ()
    release = works.book.events(kind="release", lot_id=lots["4133"].lot_id)[0].event
    assert (release.who, release.document) == ("bex", "QR-12")
    assert any("5303" in w or "QR-13" in w for w in report.warnings)


def test_a_shipment_without_a_release_is_refused(works, sheets):
    edit(sheets, "shipments.csv", "Bex Orlay,QR-12", ",")
    assert "shipments.csv, line 2, column 'To'" in refused(works, sheets)


def test_only_the_quality_manager_releases_on_paper_too(works, sheets):
    edit(sheets, "shipments.csv", "Bex Orlay,QR-12", "ilsa,QR-12")
    assert "quality_manager" in refused(works, sheets)


def test_the_same_sheets_twice_are_refused(works, sheets):
    import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    said = refused(works, sheets)
    assert "weighment.csv, line 2, column 'Load': lot 4101 is there already" in said


def test_a_later_folder_speaks_of_lots_of_an_earlier_one(works, sheets, tmp_path):
    import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    later = tmp_path / "later"
    later.mkdir()
    (later / "meter.csv").write_text("Lot;When;Water\n4131;2026-04-01 10:00;10.4\n", "utf-8")
    (later / "mapping.toml").write_text(
        '[[sheet]]\nfile = "meter.csv"\njob = "reading"\n[sheet.columns]\nlot = "Lot"\n'
        'at = "When"\nvalue = "Water"\n[sheet.same]\nmeter = "kelp-oven"\n',
        "utf-8",
    )
    assert import_sheets(works, "ilsa", later, later / "mapping.toml").events == 1
    reading = works.book.events(kind="reading", newest_first=True, limit=1)[0].event
    assert works.book.lot(reading.facts["lot_id"]).attributes["own_number"] == "4131"
    assert reading.facts["value"] == pytest.approx(0.104)


def test_a_bench_in_percent_is_read_as_percent(works, sheets, tmp_path):
    at_the_quay = [
        m.model_copy(update={"site": "kelp"}) if m.id == "tea-infusion" else m
        for m in works.settings.meter
    ]
    works = replace(works, settings=works.settings.model_copy(update={"meter": at_the_quay}))
    import_sheets(works, "ilsa", sheets, sheets / "mapping.toml")
    later = tmp_path / "later"
    later.mkdir()
    (later / "bench.csv").write_text("Lot;When;TF\n4131;2026-04-01 10:00;0.52\n", "utf-8")
    (later / "mapping.toml").write_text(
        '[[sheet]]\nfile = "bench.csv"\njob = "reading"\n[sheet.columns]\nlot = "Lot"\n'
        'at = "When"\nvalue = "TF"\n[sheet.same]\nmeter = "tea-infusion"\n',
        "utf-8",
    )
    import_sheets(works, "ilsa", later, later / "mapping.toml")
    reading = works.book.events(kind="reading", newest_first=True, limit=1)[0].event
    assert reading.facts["value"] == pytest.approx(0.0052)


def test_only_the_manager_imports(works, sheets):
    with pytest.raises(BadInput, match="may not import sheets"):
        import_sheets(works, "teo", sheets, sheets / "mapping.toml")


BAD_ROWS = [
    ("weighment.csv", "874,0", "8x4,0", "weighment.csv, line 3, column 'Full kg': '8x4,0' is not"),
    ("weighment.csv", "874,0", "874.0", "say decimal in the mapping"),
    ("weighment.csv", "874,0", "-874,0", "line 3, column 'Full kg': gross_kg is -874; it must be"),
    ("weighment.csv", "874,0", "", "line 3, column 'Full kg': is blank; gross_kg is needed"),
    ("weighment.csv", "87,1", "130", "line 3, column 'Water %': moisture_wb is 130.0%"),
    ("weighment.csv", "23.03.2026;08:05", "23.03.2027;08:05", "is in the future; it is 2026-04-02"),
    ("weighment.csv", "23.03.2026;08:05", "2026-03-23;08:05", "is not a time written as '%d.%m"),
    ("weighment.csv", "23.03.2026;08:05", "23.03.0026;08:05", "is in the year 26"),
    ("weighment.csv", "Skarrin 2", "Skarrin 9", "column 'From': There is no source 'Skarrin 9'"),
    ("weighment.csv", "4102", "4101", "line 3, column 'Load': lot 4101 is there already"),
    ("weighment.csv", ";flat calm", ";flat;calm;more", "line 3 has 12 cells where the headings"),
    ("weighment.csv", "Full kg", "Full", "line 1 has no column 'Full kg'; it has: Load, Date"),
    ("dryer-book.csv", "Belt 2", "Belt 7", "There is no equipment 'Belt 7'"),
    ("dryer-book.csv", "4111+4112", "4111+4119", "there is no lot 4119 in the sheets or the book"),
    (
        "dryer-book.csv",
        "4111+4112",
        "4111+4103",
        "line 4, column 'Loads': lot 4103 was not there yet",
    ),
    ("dryer-book.csv", "08:20,23/03/2026 09:05", "08:20,23/03/2026 08:05", "off before it went on"),
    ("dryer-book.csv", "23/03/2026 07:50", "23/03/2026 08:40", "was busy with the run in dryer"),
    ("dryer-book.csv", ",80,120", ",180,120", "it must be from 60 to 98 °C"),
    ("lab.csv", "cadmium,0.9,mg/kg,dry,0.18", "cadmium,0.9,mg/kg,dry,", "gives no uncertainty"),
    (
        "lab.csv",
        "cadmium,0.9,mg/kg,dry",
        "cadmium,0.9,mg/kg,sea",
        "lab.csv, line 4, column 'Per kg of': basis is 'sea'",
    ),
    (
        "shipments.csv",
        "4133,60",
        "4133,600",
        "column 'kg': Lot K6-2403-03 would be used twice over",
    ),
    ("shipments.csv", "Southrim Pantry", "Nowhere Ltd", "There is no customer 'Nowhere Ltd'"),
]


@pytest.mark.parametrize(
    ("name", "old", "new", "says"), BAD_ROWS, ids=[b[3][:40] for b in BAD_ROWS]
)
def test_a_bad_row_is_told_by_its_place(works, sheets, name, old, new, says):
    edit(sheets, name, old, new)
    assert says in refused(works, sheets)


def test_a_refused_load_is_told_once_and_not_for_all_that_was_made_of_it(works, sheets):
    edit(sheets, "weighment.csv", "1.012,5", "12,5")
    said = refused(works, sheets).splitlines()
    assert len(said) == 1
    assert said[0].startswith("weighment.csv, line 2, column 'Full kg': gross_kg 12.5 less tare")


def test_all_bad_cells_are_told_at_once(works, sheets):
    edit(sheets, "weighment.csv", "87,1", "wet")
    edit(sheets, "lab.csv", "0.9", "high")
    said = refused(works, sheets)
    assert "weighment.csv, line 3, column 'Water %': 'wet' is not a number." in said
    assert "lab.csv, line 4, column 'Result': 'high' is not a number." in said


def test_a_summer_time_gap_is_refused(works, sheets):
    edit(
        sheets, "lab.csv", "2026-03-30 14:00,4133,W-19,iodine", "2026-03-29 00:30,4133,W-19,iodine"
    )
    assert "does not exist on the works' clock" in refused(works, sheets)
