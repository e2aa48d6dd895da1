"""The field that takes any label: each label drawn for a lot leads to it, by an outside decoder."""

from __future__ import annotations

import json
import re
from dataclasses import asdict

import pytest
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.book.exchange import Naming
from wareleaf.works import bench, doors, handle_lot
from wareleaf.works.exchange_book import set_naming
from wareleaf.works.find_label import LONGEST, find_label
from wareleaf.works.find_lots import find_lots
from wareleaf.works.growing import record_harvest
from wareleaf.works.label_lot import lot_on_label
from wareleaf.works.record import Entry, draw, record

HTML = {"accept": "text/html"}
GTIN, OTHER = "09506000134352", "09506000117843"
SSCC = "376104250021234569"
SYMBOLS = ["gs1_datamatrix", "gs1_128", "qr_digital_link"]


def leads_to(client: TestClient, text: str) -> str:
    answer = client.get("/find", params={"q": text}, headers=HTML, follow_redirects=False)
    return str(answer.headers.get("location", ""))


def decoded(kind: str, text: str) -> str:
    """What a scanner gives for a symbol: drawn, and read back by zxing-cpp from its picture."""
    import numpy as np
    import zxingcpp

    formats = {
        "gs1_datamatrix": (zxingcpp.BarcodeFormat.DataMatrix, {"gs1": True, "force_square": True}),
        "gs1_128": (zxingcpp.BarcodeFormat.Code128, {"gs1": True}),
        "qr_digital_link": (zxingcpp.BarcodeFormat.QRCode, {}),
    }
    which, options = formats[kind]
    picture = np.array(
        zxingcpp.write_barcode_to_image(zxingcpp.create_barcode(text, which, **options), scale=4)
    )
    (seen,) = zxingcpp.read_barcodes(np.pad(picture, 40, constant_values=255))
    return str(seen.symbology_identifier + seen.bytes.decode())


@pytest.mark.slow
def test_every_label_of_every_lot_is_found_by_scanning_it(
    client: TestClient, seeded: Seeded
) -> None:
    lots = seeded.works.book.lots()
    assert len(lots) > 10
    for lot in lots:
        fields = {"01": GTIN, "10": lot.lot_id, "15": "280101", "3103": "012500"}
        label = doors.call("label", {"elements": fields, "symbols": SYMBOLS, "year": 2026})
        for symbol in label["symbols"]:
            scan = decoded(symbol["kind"], symbol["text"])
            assert scan[:3] in ("]d2", "]C1", "]Q1"), scan
            assert leads_to(client, scan) == f"/lots/{lot.lot_id}", scan
            typed_like_a_keyboard = scan.replace("\x1d", "") + "\r"
            assert leads_to(client, typed_like_a_keyboard) == f"/lots/{lot.lot_id}"
        assert leads_to(client, label["element_string"]) == f"/lots/{lot.lot_id}"


def test_what_has_a_number_of_its_own_opens_at_once(client: TestClient, seeded: Seeded) -> None:
    works, lot, run = seeded.works, seeded.lots["flake"], seeded.runs["trough"]
    (taken,) = works.book.events_in_force("sample")
    sample = str(taken.facts["sample_id"])
    assert leads_to(client, f"  {lot.lower()} ") == f"/lots/{lot}"
    assert leads_to(client, f"]C0{lot}") == f"/lots/{lot}"
    assert leads_to(client, f"http://works.example/trace/{lot}?x=1") == f"/lots/{lot}"
    assert leads_to(client, run) == leads_to(client, run.upper()) == f"/floor/run/{run}"
    assert leads_to(client, sample.lower()) == f"/bench/{sample}"
    for address in (f"/floor/run/{run}", f"/bench/{sample}"):
        assert client.get(address, headers=HTML).status_code == 200


def ship_some(seeded: Seeded, name: str) -> str:
    """Ship 5 kg of a lot on a pallet under a paper; the lot."""
    works = seeded.works
    lot = works.book.lot(seeded.lots[name])
    release = {"lot_id": lot.lot_id, "markets": ["EU"]}
    record(works, Entry(kind="release", site=lot.site, who="ilsa", facts=release))
    shipped = {
        "customer": works.settings.customer[0].id,
        "market": "EU",
        "vehicle": "van 9",
        "contact": "",
        "sscc": [SSCC],
    }
    draws = (draw(works.book.lot(lot.lot_id), 5.0),)
    entry = Entry(
        kind="ship", site=lot.site, who="jorun", document="DN-4711", inputs=draws, facts=shipped
    )
    record(works, entry)
    return lot.lot_id


def test_papers_pallets_vehicles_and_customers(client: TestClient, seeded: Seeded) -> None:
    lot = ship_some(seeded, "flake")
    customer = seeded.works.settings.customer[0]
    for text in (
        "dn-4711",
        "DN-4711",
        "van 9",
        SSCC,
        f"]C100{SSCC}",
        f"https://id.gs1.org/00/{SSCC}",
    ):
        assert leads_to(client, text) == f"/lots/{lot}", text
    assert leads_to(client, "4711") == ""  # part of a number is never enough to jump
    page = client.get("/find", params={"q": "4711"}, headers=HTML).text
    assert "DN-4711" in page and f"/lots/{lot}" in page
    named = find_label(seeded.works, customer.name[:6])
    assert [(h.kind, h.lots) for h in named.hits if h.kind == "customer"] == [("customer", (lot,))]
    other = ship_some(seeded, "washed b")
    assert leads_to(client, "DN-4711") == ""  # two lots now: both are listed, neither is opened
    shared = client.get("/find", params={"q": "DN-4711"}, headers=HTML).text
    assert f"/lots/{lot}" in shared and f"/lots/{other}" in shared
    source = find_label(seeded.works, "skarrin line 2")
    assert {h.kind for h in source.hits} == {"source", "lot"}
    assert source.only is None


def test_a_label_of_another_product_does_not_open_our_lot(
    client: TestClient, seeded: Seeded
) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    product = works.settings.product[0].id
    set_naming(works, Naming("https://leaf.example/", gtin={product: GTIN}))
    assert leads_to(client, f"https://leaf.example/lot/{lot}") == f"/lots/{lot}"
    wrong = f"(01){GTIN}(10){lot}"  # that lot is loose flake, not the packed product
    assert lot_on_label(works, wrong) == ""
    (hit,) = find_label(works, wrong).hits
    assert (hit.name, hit.exact) == (lot, False)
    assert "another product" in client.get("/find", params={"q": wrong}, headers=HTML).text
    assert lot_on_label(works, f"(01){OTHER}(10){lot}") == lot  # a GTIN that nobody claimed
    (made,) = find_label(works, GTIN).hits
    assert (made.kind, made.total) == ("product", 0)


def test_two_lots_that_a_scan_may_mean_are_both_shown(seeded: Seeded, monkeypatch) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    twin = works.book.lot(seeded.lots["kelp"])
    real = works.book.lots

    def with_a_longer_twin(*arguments, **named):
        from dataclasses import replace

        found = real(*arguments, **named)
        longer = lot + "3"
        if longer in (named.get("ids") or ()):
            found = [*found, replace(twin, lot_id=longer)]
        return found

    monkeypatch.setattr(works.book, "lots", with_a_longer_twin)
    scan = f"01{GTIN}10{lot}3103012500"  # the separator behind the lot was dropped
    found = find_label(works, scan)
    assert [h.name for h in found.hits] == [lot + "3", lot]
    assert found.only is None


def test_nothing_found_says_what_was_looked_for(client: TestClient, seeded: Seeded) -> None:
    page = client.get("/find", params={"q": f"(01){GTIN}(10)ZZ-99"}, headers=HTML)
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text))
    assert page.status_code == 200
    assert "Nothing found" in said
    assert "a lot ZZ-99" in said and f"a product {GTIN}" in said
    nasty = client.get("/find", params={"q": '<script>"%_\\'}, headers=HTML)
    assert nasty.status_code == 200
    assert "&lt;script&gt;" in nasty.text and "<script>&" not in nasty.text
    assert client.get("/find", params={"q": "%"}, headers=HTML).text.count("/lots/") == 0
    assert "Nothing typed yet" in client.get("/find", headers=HTML).text
    assert client.get("/find", params={"q": "x" * (LONGEST + 1)}, headers=HTML).status_code == 422
    data = client.get("/find", params={"q": "skarrin", "format": "json"}).json()
    assert data["hits"] and not any(h["exact"] for h in data["hits"])
    assert json.dumps(asdict(find_label(seeded.works, "skarrin")))


def test_lots_trace_and_recall_take_the_same_scans(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    scan = f"]d201{GTIN}10{lot}\x1d3103012500"
    assert find_lots(seeded.works, None, text=scan).exact == lot
    for page in ("/lots", "/trace"):
        answer = client.get(page, params={"q": scan}, headers=HTML, follow_redirects=False)
        assert answer.headers["location"] == f"{page}/{lot}"
    recall = client.get("/recall", params={"kind": "lot", "subject": scan}, headers=HTML)
    assert f"<h1>Lot {lot}</h1>" in recall.text


def test_an_own_number_of_the_works_sheets(seeded: Seeded, client: TestClient) -> None:
    from wareleaf.works.take_in import Load, take_in

    made = take_in(
        seeded.works, "teo", Load("line-01", 300.0, 40.0, "quay-scale", own_number="Bin 77/B")
    )[1]
    assert leads_to(client, "bin 77/b") == f"/lots/{made.lot_id}"
    handle_lot.hold(seeded.works, "bex", made.lot_id, "for the test")
    assert leads_to(client, "bin 77/b") == f"/lots/{made.lot_id}"


def test_growers_harvests_laboratories_batches_and_entries(
    client: TestClient, seeded: Seeded
) -> None:
    works = seeded.works
    source = works.settings.source_of("line-05")
    grown = find_label(works, source.grower.split()[0]).hits
    assert {source.name} <= {h.name for h in grown if h.kind == "source"}
    cut = record_harvest(works, "teo", "line-05", 900.0)
    assert [(h.kind, h.exact) for h in find_label(works, cut.harvest_id).hits] == [
        ("harvest", True)
    ]
    lot = seeded.lots["flake"]
    (taken,) = works.book.events_in_force("sample")
    found = bench.Found("iodine", 400.0, 20.0, "mg/kg", laboratory="Shore Lane laboratory")
    event = bench.record_result(works, "mirel", lot, str(taken.facts["sample_id"]), found)
    for text in ("shore lane laboratory", event.event_id, event.event_id.upper()):
        assert leads_to(client, text) == f"/lots/{lot}", text
    assert leads_to(client, event.event_id[:-1]) == ""
