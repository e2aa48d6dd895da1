"""Each row of docs/look-up/refusals.md: refused with that sentence, and nothing written."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from wareleaf.book import Draw, Event
from wareleaf.measure.errors import BadInput
from wareleaf.works import demo, handle_lot, release_lot, run_stage, ship
from wareleaf.works.doors import call
from wareleaf.works.house import Works, create_works
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.take_in import Load, take_in

PAGE = Path(__file__).resolve().parents[2] / "docs" / "look-up" / "refusals.md"
SETTINGS = Path(demo.__file__).parent / "works.toml"
MORNING = datetime(2026, 5, 8, 6, 0, tzinfo=ZoneInfo("Atlantic/Azores"))
LOAD = Load("line-01", 640.0, 40.0, "quay-scale", moisture_wb=0.90, moisture_meter="kelp-quick")
MAPPING = """
[[sheet]]
file = "weighment.csv"
job = "intake"
[sheet.columns]
lot = "Lot"
source = "Line"
arrived_at = { column = "Time", format = "%d.%m.%Y %H:%M" }
gross_kg = "Gross"
scale = "Scale"
"""
HEADING = "Lot,Line,Time,Gross,Scale\n"


@dataclass(frozen=True)
class House:
    works: Works
    folder: Path
    first: str
    """The lot taken in."""
    washed: str
    """What the wash tank made of it."""
    part: str
    """Split off from that."""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    folder = tmp_path_factory.mktemp("refusals")
    now = MORNING
    works = replace(create_works(folder / "works", SETTINGS), clock=lambda: now)
    first = take_in(works, "teo", LOAD)[1].lot_id
    now += timedelta(hours=0.5)
    run = run_stage.start_run(works, "teo", "wash-1", [first])
    now += timedelta(hours=0.5)
    off = run_stage.Off(598.0, 0.902, "kelp-quick", "kelp-floor-scale")
    washed = run_stage.finish_run(works, "teo", run, [off])[0].lot_id
    now += timedelta(hours=0.1)
    (part,) = handle_lot.split(
        works, "teo", washed, [98.0], meter="kelp-floor-scale", drawn_kg=98.0
    )
    (folder / "mapping.toml").write_text(MAPPING, "utf-8")
    return House(works, folder, first, washed, part.lot_id)


def _ancestor_of_itself(house: House) -> None:
    """Correct the wash: say that what was split off from the washed lot went into the tank."""
    book = house.works.book
    (made,) = (row.event for row in book.events(kind="stage_finished"))
    now = house.works.now()
    facts = {**made.facts, "reason": "wrong lot", "void": False, "kind": made.kind}
    book.append(
        Event(
            "",
            "correction",
            now,
            now,
            "kelp",
            who="ilsa",
            corrects=made.event_id,
            facts=facts,
            inputs=(Draw(house.part, 1000, 98),),
            outputs=made.outputs,
            streams=made.streams,
        ),
        now=now,
    )


def _sheet(house: House, content: bytes, size: int = 0) -> None:
    path = house.folder / "weighment.csv"
    path.write_bytes(content)
    if size:
        os.truncate(path, size)
    import_sheets(house.works, "ilsa", house.folder, house.folder / "mapping.toml")


def _rows(*lines: str) -> bytes:
    return (HEADING + "".join(f"{line}\n" for line in lines)).encode()


CASES: dict[str, Callable[[House], object]] = {
    "a negative weight": lambda h: take_in(h.works, "teo", replace(LOAD, gross_kg=-640.0)),
    "a tare above the gross": lambda h: take_in(h.works, "teo", replace(LOAD, tare_kg=700.0)),
    "a moisture of 130 %": lambda h: take_in(h.works, "teo", replace(LOAD, moisture_wb=1.3)),
    "a wet bulb above the dry bulb": lambda h: call(
        "humid-air", {"dry_bulb_c": 18.0, "wet_bulb_c": 21.0}
    ),
    "not a number": lambda h: call("moisture", {"moisture_wb": float("nan")}),
    "a misspelt field": lambda h: call("moisture", {"moisture_wb": 0.9, "mass": 5.0}),
    "more than a lot holds": lambda h: handle_lot.write_off(
        h.works, "teo", h.washed, 650.0, "fell in the harbour"
    ),
    "a lot that is used up": lambda h: run_stage.start_run(h.works, "teo", "bath-1", [h.first]),
    "an event in the future": lambda h: take_in(
        h.works, "teo", replace(LOAD, arrived_at=h.works.now() + timedelta(hours=2))
    ),
    "a lot among its own ancestors": _ancestor_of_itself,
    "an unknown market": lambda h: release_lot.release(h.works, "bex", h.washed, ["MOON"], ""),
    "shipping what is not released": lambda h: ship.ship(
        h.works, "jorun", "merrow", {h.washed: None}
    ),
    "a role that does not cover it": lambda h: release_lot.release(
        h.works, "ilsa", h.washed, ["FR"], ""
    ),
    "an unknown line or field": lambda h: take_in(h.works, "teo", replace(LOAD, source="line-99")),
    "an empty file": lambda h: _sheet(h, b""),
    "a file of 200 MB": lambda h: _sheet(h, b"Lot,", 200_000_000),
    "a file in the wrong encoding": lambda h: _sheet(
        h, _rows("1,Skarrin-L\xe4nge,07.05.2026 06:10,640,quay-scale").decode().encode("cp1252")
    ),
    "a bad row of a sheet": lambda h: _sheet(
        h,
        _rows(
            "1,line-01,07.05.2026 06:10,640,quay-scale",
            "2,line-01,07.05.2026 06:40,-12,quay-scale",
        ),
    ),
}


def page_rows() -> dict[str, str]:
    """Sentences of the page by what is refused."""
    rows = {}
    for line in PAGE.read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("|") and len(cells) == 2 and set(cells[0]) != {"-"}:
            rows[cells[0]] = cells[1].replace("`", "")
    rows.pop("what is typed", None)
    return rows


def sentence(house: House, case: str) -> str:
    with pytest.raises(BadInput) as caught:
        CASES[case](house)
    assert len(caught.value.problems) == 1, "one mistake, one sentence"
    said = caught.value.problems[0].message
    return said.replace(str(house.folder), "FOLDER")


def test_the_page_lists_the_cases() -> None:
    assert list(page_rows()) == list(CASES)


@pytest.mark.parametrize("case", CASES)
def test_bad_input_gets_the_sentence_of_the_page_and_writes_nothing(
    house: House, case: str
) -> None:
    before = house.works.book.tree_root()
    assert sentence(house, case) == page_rows()[case]
    assert house.works.book.tree_root() == before


def test_the_same_works_takes_the_right_input(house: House) -> None:
    """The cases fail for their one mistake, not because the works could take nothing."""
    before = house.works.book.tree_root()[0]
    _sheet(house, _rows("1,line-01,07.05.2026 06:10,640,quay-scale"))
    take_in(house.works, "teo", LOAD)
    assert house.works.book.tree_root()[0] == before + 2
