"""The label door: symbols drawn and read back by zxing-cpp, scans parsed, wrong labels refused."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

# test content of the library comparison in the traceability notes (2.5)
CASE = {
    "01": "09506000134352",
    "13": "260401",
    "15": "271031",
    "3103": "012500",
    "10": "KELP-A26-0412",
    "21": "S0001",
}
ALL = ["gs1_datamatrix", "gs1_128", "qr_digital_link"]


def label(**data):
    return doors.call("label", {"year": 2026} | data)


def test_a_case_label_in_every_symbol():
    out = label(elements=CASE, symbols=ALL)
    assert out["element_string"] == "".join(f"({k}){v}" for k, v in CASE.items())
    meanings = {f["ai"]: f["meaning"] for f in out["fields"]}
    assert meanings["3103"] == 12.5
    assert meanings["13"] == "2026-04-01"
    matrix, *bars, link = out["symbols"]
    assert (matrix["kind"], matrix["symbology"]) == ("gs1_datamatrix", "]d2")  # square, not ]d8
    assert len(bars) == 2  # 65 characters do not fit into one GS1-128 of 48
    assert {b["symbology"] for b in bars} == {"]C1"}
    assert "".join(b["text"] for b in bars) == out["element_string"]
    assert link["text"] == out["digital_link"]
    assert link["text"].startswith(
        "https://id.gs1.org/01/09506000134352/10/KELP-A26-0412/21/S0001?"
    )
    assert all(s["svg"].lstrip().startswith("<") and s["reads_back"] for s in out["symbols"])


def test_what_is_drawn_scans_to_the_same_fields():
    """Read the drawing itself, as an image, and put the scan back into the door."""
    import numpy as np
    import zxingcpp

    fields = label(elements=CASE)["fields"]
    barcode = zxingcpp.create_barcode(
        label(elements=CASE)["element_string"], zxingcpp.BarcodeFormat.DataMatrix, gs1=True
    )
    (seen,) = zxingcpp.read_barcodes(np.array(zxingcpp.write_barcode_to_image(barcode, scale=5)))
    scan = seen.symbology_identifier + seen.bytes.decode()
    assert label(scan=scan)["fields"] == fields
    link = label(elements=CASE)["digital_link"]
    again = label(scan=link)["fields"]
    assert {f["ai"]: f["value"] for f in again} == CASE


def test_pallet_and_own_address():
    pallet = {"00": "376104250021234569", "02": "09506000134352", "37": "48", "10": "A1"}
    out = label(elements=pallet, symbols=["gs1_128"])
    assert out["symbols"][0]["text"] == "(00)376104250021234569(02)09506000134352(37)48(10)A1"
    own = label(
        elements={"01": "09506000134352", "10": "A/1"},
        digital_link_root="https://example.com/id",
        symbols=["qr_digital_link"],
    )
    assert own["symbols"][0]["text"] == "https://example.com/id/01/09506000134352/10/A%2F1"
    assert any("no lot" in w for w in label(elements={"01": "09506000134352"})["warnings"])


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({}, "exactly one of elements and scan"),
        ({"elements": CASE, "scan": "x"}, "exactly one of elements and scan"),
        ({"elements": {}}, "no fields"),
        ({"elements": {"01": "09506000134353"}}, "wrong check digit"),
        ({"elements": {"01": "09506000134352", "37": "4"}}, "may not stand together"),
        ({"elements": {"01": "09506000134352", "13": "261301"}}, "no date"),
        ({"elements": {"01": "09506000134352", "10": "a~b"}}, "may hold"),
        ({"elements": {"01": "09506000134352", "10": "A(1)"}, "symbols": ["gs1_128"]}, "brackets"),
        ({"elements": {"400": "PO1"}, "symbols": ["qr_digital_link"]}, "needs a key"),
        ({"elements": CASE, "symbols": ["qr"]}, "symbols"),
        ({"scan": "]E05901234123457"}, "carries no GS1 fields"),
        ({"scan": "https://example.com/x"}, "no GS1 Digital Link"),
        ({"scan": ""}, "empty"),
    ],
)
def test_bad_labels_are_refused_in_words(data, words):
    with pytest.raises(BadInput) as caught:
        label(**data)
    assert any(words in p.message for p in caught.value.problems), caught.value.problems
