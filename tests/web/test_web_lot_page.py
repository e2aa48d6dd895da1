"""A lot's page: its balance, its picture, its corrections, its papers and its receipt."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.book.exchange import Naming
from wareleaf.web.trace_graph import (
    MOST_COLUMNS,
    MOST_IN_COLUMN,
    _Box,
    _cap,
    _Flow,
    _shorten,
    trace_graph,
)
from wareleaf.works import handle_lot, seal_book
from wareleaf.works.exchange_book import set_naming
from wareleaf.works.lot_balance import lot_balance
from wareleaf.works.trace_lot import trace

HTML = {"accept": "text/html"}
WORDS = "four dry words here"


def text(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_every_lot_adds_up_to_the_gram(seeded: Seeded) -> None:
    works = seeded.works
    handle_lot.split(works, "ilsa", seeded.lots["flake"], [3.0, 4.0], drawn_kg=7.2)
    handle_lot.write_off(works, "ilsa", seeded.lots["flake"], 1.0, "wet")
    drawn = 0
    for lot in works.book.lots():
        found = lot_balance(works, lot)
        account = found.account
        assert account.accounted_g + account.unexplained_g == lot.dry_g, lot.lot_id
        taken = sum(d.dry_kg for d in found.draws)
        assert taken * 1000.0 == pytest.approx(lot.drawn_dry_g, abs=1e-6)
        open_ended = [d for d in found.draws if d.unexplained_sd_kg == 0.0]
        assert {d.kind for d in open_ended} <= {"ship", "waste"}
        drawn += bool(found.draws)
    assert drawn == 7


def test_the_balance_of_a_blend_is_shared_by_dry_matter(seeded: Seeded) -> None:
    """Two lots combined; each carries its part of what the combining leaves open."""
    works, lots = seeded.works, seeded.lots
    parts_of = handle_lot.split(works, "ilsa", lots["flake"], [9.0, 22.0])
    pair = [part.lot_id for part in parts_of]
    before = [works.book.lot(k).remaining_dry_g for k in pair]
    handle_lot.combine(works, "ilsa", pair, place="store")
    draws = [lot_balance(works, works.book.lot(k)).draws[-1] for k in pair]
    assert [round(d.dry_kg * 1000.0) for d in draws] == before
    parts = [d.unexplained_sd_kg for d in draws]
    assert parts[0] / parts[1] == pytest.approx(before[0] / before[1], rel=1e-9)


def test_a_lot_drawn_short_says_so(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.works.book.lot(seeded.lots["flake"])
    handle_lot.split(seeded.works, "ilsa", lot.lot_id, [20.0], drawn_kg=30.0)
    found = lot_balance(seeded.works, seeded.works.book.lot(lot.lot_id))
    # 10 kg at 10 % wet basis left the lot and came to nothing: 9 kg of dry matter.
    assert found.account.unexplained_g == pytest.approx(9000, abs=60)
    assert found.z > 3.0
    said = text(client.get(f"/lots/{lot.lot_id}", headers=HTML).text)
    assert "more than the scales explain" in said
    assert re.search(r"Nobody can explain (8\.9|9\.0)\d? kg ± 0\.\d\d kg", said), said


def test_a_corrected_entry_stands_under_its_correction(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["tea b"]
    event = seeded.works.book.lot(lot).made_by
    data = {"reason": "tare misread", f"mass_kg {lot}": "570", f"moisture_wb {lot}": "77"}
    client.post(f"/lots/{lot}/correct/{event}", data=data)
    seeded.clock.later(0.2)
    client.post(f"/lots/{lot}/hold", data={"reason": "looked at again"})
    page = client.get(f"/lots/{lot}", headers=HTML).text
    rows = [text(r) for r in re.findall(r"<tr class=.*?</tr>", page, re.S)]
    said = ["correction of" in r for r in rows]
    assert len(rows) == 3 and said.index(True) == 1  # the hold is newest
    assert "as written before" in rows[2] and "580 kg" in rows[2]
    assert "570 kg" in rows[1]


def test_the_picture_has_kilograms_and_leads_to_lots(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    page = client.get(f"/lots/{lot}", headers=HTML).text
    picture = re.search(r"<svg viewBox.*?</svg>", page, re.S)
    assert picture
    drawn = ET.fromstring(picture[0])
    links = {a.get("href") for a in drawn.iter("a")}
    assert f"/lots/{seeded.lots['kelp']}" in links
    labels = [t.text or "" for t in drawn.iter("text")]
    assert sum(bool(re.fullmatch(r"[\d.  ]+ kg", k)) for k in labels) >= 2 * len(links) - 1


def long_way(columns: int, wide: int, at: int) -> tuple[list[_Box], list[_Flow]]:
    """Columns of lots, each feeding the whole next column evenly; 10 kg go through."""
    box = [
        _Box(f"{c}.{n}" if c != at else "centre", c, "lot", "", 10.0 / wide)
        for c in range(columns)
        for n in range(wide if c != at else 1)
    ]
    flows = [
        _Flow(a.key, b.key, a.dry_kg / sum(k.column == b.column for k in box))
        for a in box
        for b in box
        if b.column == a.column + 1
    ]
    return box, flows


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 14), st.integers(1, 9), st.data())
def test_a_short_picture_is_small_and_loses_no_kilogram(
    columns: int, wide: int, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, columns - 1))
    boxes, flows = long_way(columns, wide, at)
    into = sum(f.dry_kg for f in flows if f.right == "centre")
    out = sum(f.dry_kg for f in flows if f.left == "centre")
    boxes, flows = _cap(*_shorten(boxes, flows, "centre"), "centre")
    assert len({b.column for b in boxes}) == min(columns, MOST_COLUMNS)
    assert len(boxes) <= MOST_COLUMNS * MOST_IN_COLUMN
    assert sum(f.dry_kg for f in flows if f.right == "centre") == pytest.approx(into)
    assert sum(f.dry_kg for f in flows if f.left == "centre") == pytest.approx(out)
    place = {b.key: b.column for b in boxes}
    assert all(place[f.left] < place[f.right] for f in flows), "left to right, always"
    folded = [int(b.title.split()[0]) for b in boxes if b.key.startswith("between")]
    more = [int(b.title.split()[1]) for b in boxes if b.key.startswith("more")]
    plain = [b for b in boxes if not b.key.startswith(("between", "more"))]
    assert len(plain) + sum(folded) + sum(more) == (columns - 1) * wide + 1


def test_what_may_be_taken_along(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    page = text(client.get(f"/lots/{lot}", headers=HTML).text)
    assert "the book was never sealed" in page and "wareleaf seal" in page
    assert "wareleaf exchange names" in page
    for name in ("receipt", "exchange"):
        assert client.get(f"/lots/{lot}/{name}.json", headers=HTML).status_code == 422
    set_naming(seeded.works, Naming("https://leaf.example/"))
    got = client.get(f"/lots/{lot}/exchange.json")
    assert got.json()["type"] == "EPCISDocument"
    assert f'filename="exchange-{lot}.json"' in got.headers["content-disposition"]
    papers = client.get(f"/lots/{lot}", headers=HTML).text
    assert f"/lots/{lot}/exchange.json" in papers
    check = client.get("/receipts/check-a-receipt.html")
    assert check.headers["content-disposition"].startswith("attachment")
    assert "http://" not in check.text and "https://" not in check.text


def test_papers_of_loads_and_shipments_stand_on_the_page(
    client: TestClient, seeded: Seeded
) -> None:
    lot = seeded.lots["flake"]
    from wareleaf.works.record import Entry, record

    paper = Entry(kind="note", site="kelp", who="bex", why="look", document="QC/17-b")
    record(seeded.works, replace(paper, facts={"lot_id": lot}))
    said = text(client.get(f"/lots/{lot}", headers=HTML).text)
    assert "QC/17-b" in said


def test_a_receipt_from_the_page_holds_and_a_newer_lot_has_none_yet(
    client: TestClient, seeded: Seeded
) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    sealed = seal_book.seal_now(works, WORDS)
    got = client.get(f"/lots/{lot}/receipt.json")
    assert f'filename="receipt-{lot}.json"' in got.headers["content-disposition"]
    receipt = json.loads(got.text)
    proved = seal_book.seal.check_receipt(receipt, seal_book.state_of(works).verifiers)
    assert proved.lot_id == lot
    page = text(client.get(f"/lots/{lot}", headers=HTML).text)
    assert sealed.vkey in page
    assert f"Sealed up to no. {sealed.size}" in page
    client.post(f"/lots/{lot}/hold", data={"reason": "smells odd"})
    assert "seal the book again for the rest" in text(client.get(f"/lots/{lot}").text)
    part = handle_lot.split(works, "ilsa", seeded.lots["washed b"], [5.0])[0].lot_id
    newer = text(client.get(f"/lots/{part}", headers=HTML).text)
    assert "was made after the last seal" in newer
    assert client.get(f"/lots/{part}/receipt.json", headers=HTML).status_code == 422
    rotated = seal_book.rotate(works, WORDS, "five more dry words here")
    key = text(client.get(f"/lots/{part}", headers=HTML).text)
    assert rotated.vkey in key and sealed.vkey not in key


def test_the_whole_trace_keeps_every_column(seeded: Seeded) -> None:
    view = trace(seeded.works, seeded.lots["flake"])
    whole = ET.fromstring(trace_graph(view))
    short = ET.fromstring(trace_graph(view, short=True))
    # fresh, washed, blanched, dried, flake: five columns fit as they are.
    assert len(list(whole.iter())) == len(list(short.iter()))
