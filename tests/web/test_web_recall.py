"""The recall page over HTTP: ask, read, hold all once, keep a drill, take the papers along."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from openpyxl import load_workbook
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.works.recall import recall
from wareleaf.works.recall_drill import drills
from wareleaf.works.recall_fault import Fault

HTML = {"accept": "text/html"}
JSON = {"accept": "application/json"}
LINE = {"kind": "source", "subject": "line-01"}


def text(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_report_says_what_the_book_says(client: TestClient, seeded: Seeded) -> None:
    found = recall(seeded.works, Fault("source", "line-01"))
    page = client.get("/recall", params=LINE, headers=HTML)
    assert page.status_code == 200
    said = text(page.text)
    assert all(a.lot.lot_id in said for a in found.lots)
    assert f"{found.last.accounted * 100:.2f} %" in said
    assert "recall rules of your local authority come first" in said
    data = client.get("/recall", params=LINE, headers=JSON).json()
    assert data["recall"]["last"]["total_g"] == found.last.total_g
    assert [a["lot"]["lot_id"] for a in data["recall"]["lots"]] == [
        a.lot.lot_id for a in found.lots
    ]


def test_a_lot_is_found_by_its_label_and_from_its_trace(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    for typed in (lot.lower(), f"https://works.example/trace/{lot}"):
        page = client.get("/recall", params={"kind": "lot", "subject": typed}, headers=HTML)
        assert f"<h1>Lot {lot}</h1>" in page.text
    assert f"/recall/{lot}" in client.get(f"/trace/{lot}", headers=HTML).text
    assert f"<h1>Lot {lot}</h1>" in client.get(f"/recall/{lot}", headers=HTML).text


@pytest.mark.parametrize("column", ["lot", "form", "why", "state", "left", "share", "dry", "here"])
def test_lots_are_sorted_by_a_pressed_column(client: TestClient, column: str) -> None:
    page = client.get("/recall", params={**LINE, "sort": column}, headers=HTML).text
    head = re.findall(r'aria-sort="(\w+)"', page)
    assert head == ["descending" if column in ("left", "share", "dry", "here") else "ascending"]
    body = page.split('class="sorted"')[1].split("</table>")[0]
    rows = [re.findall(r"<td[^>]*>(.*?)</td>", r, re.S) for r in body.split("<tr>")[2:]]
    if column == "lot":
        ids = [text(r[0]).strip() for r in rows]
        assert ids == sorted(ids)
        assert len(ids) > 3
    if column == "dry":
        kg = [float(text(r[6]).replace("kg", "").replace(" ", "")) for r in rows]
        assert kg == sorted(kg, reverse=True)


def test_one_press_holds_everything_once(as_who: Any, seeded: Seeded) -> None:
    fault = Fault("source", "line-01")
    free = recall(seeded.works, fault).not_held
    assert len(free) >= 1
    bex = as_who("bex")
    page = bex.get("/recall", params=LINE, headers=HTML).text
    form = {**LINE, "press": "hold the line", "reason": "shells found"}
    assert "Hold" in page
    before = len(seeded.works.book.events())
    for _ in range(3):
        answer = bex.post("/recall/hold", data=form, headers=HTML)
        assert answer.status_code == 200
    events = seeded.works.book.events()
    assert len(events) == before + len(free)
    assert {e.event.who for e in events[before:]} == {"bex"}
    assert recall(seeded.works, fault).not_held == ()
    assert "on hold" in text(bex.get("/recall", params=LINE, headers=HTML).text)


@pytest.mark.parametrize("act", ["hold", "keep"])
def test_others_may_look_but_not_act(as_who: Any, seeded: Seeded, act: str) -> None:
    runa = as_who("runa")
    asked = {**LINE, "drill": "yes"} if act == "keep" else LINE
    page = runa.get("/recall", params=asked, headers=HTML)
    assert page.status_code == 200
    assert "to run a recall takes another role" in text(page.text)
    before = len(seeded.works.book.events())
    answer = runa.post(f"/recall/{act}", data={**asked, "reason": "x"}, headers=HTML)
    assert answer.status_code == 403
    assert len(seeded.works.book.events()) == before


def test_a_drill_holds_nothing_and_is_kept_with_its_time(as_who: Any, seeded: Seeded) -> None:
    ilsa = as_who("ilsa")
    asked = {**LINE, "drill": "yes"}
    page = ilsa.get("/recall", params=asked, headers=HTML).text
    assert 'action="/recall/hold"' not in page
    began = re.search(r'name="began" value="([^"]+)"', page)
    assert began
    refused = ilsa.post("/recall/hold", data={**asked, "reason": "x"}, headers=HTML)
    assert refused.status_code == 422
    assert "In a drill nothing is held" in text(refused.text)
    seeded.clock.later(0.5)
    form = {**asked, "began": began[1], "press": "keep the drill"}
    for _ in range(2):
        kept = ilsa.post("/recall/keep", data=form, headers=HTML)
        assert "The drill is kept in the book" in text(kept.text) or kept.status_code == 200
    (drill,) = drills(seeded.works)
    assert drill.result["taken_s"] == pytest.approx(1800.0, abs=1.0)
    listed = text(ilsa.get("/recall", headers=HTML).text)
    assert "Skarrin line 1" in listed
    assert "30 min 00 s" in listed


def test_what_is_wrong_is_said_at_the_field_and_nothing_is_done(
    client: TestClient, seeded: Seeded
) -> None:
    before = len(seeded.works.book.events())
    for params, said in (
        ({"kind": "storm", "subject": "x"}, "must be one of"),
        ({"kind": "lot", "subject": "K6-9999-99"}, "There is no lot"),
        ({"kind": "machine", "subject": "bath-1", "tail_h": "-2"}, "0 hours or more"),
        ({**LINE, "since": "yesterday"}, "must be a date and time"),
        ({**LINE, "began": "noon"}, "cannot be read"),
        ({**LINE, "known_on": "2031-01-01T10:00"}, "has not come yet"),
    ):
        page = client.get("/recall", params=params, headers=HTML)
        assert page.status_code == 422, params
        assert said in text(page.text)
    empty = client.post("/recall/hold", data={**LINE, "reason": " "}, headers=HTML)
    assert empty.status_code == 422
    assert 'id="why-reason"' in empty.text
    odd = client.post("/recall/burn", data=LINE, headers=HTML)
    assert odd.status_code == 422
    assert len(seeded.works.book.events()) == before


def test_the_papers_come_along(client: TestClient, seeded: Seeded) -> None:
    pdf = client.get("/recall/files/report.pdf", params=LINE)
    assert pdf.content.startswith(b"%PDF")
    assert 'filename="recall-' in pdf.headers["content-disposition"]
    book = load_workbook(io.BytesIO(client.get("/recall/files/report.xlsx", params=LINE).content))
    assert "Harvest" in book.sheetnames
    lots = client.get("/recall/files/lots.csv", params=LINE)
    assert lots.headers["content-type"].startswith("text/csv")
    found = recall(seeded.works, Fault("source", "line-01"))
    assert len(lots.text.splitlines()) == 1 + len(found.lots)
    for name in ("everything.csv", "report.exe"):
        assert client.get(f"/recall/files/{name}", params=LINE).status_code == 422
    assert client.get("/recall/files/lots.csv", params={"kind": "lot"}).status_code == 422
