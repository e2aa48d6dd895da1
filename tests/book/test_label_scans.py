"""What scanners give: prefixes, separators shown or lost, bare keys."""

from __future__ import annotations

import pytest

from wareleaf.book.identifiers import fields_on_label, lots_it_may_name, without_symbology

# GTIN and SSCC of the examples in the GS1 General Specifications and its Digital Link standard
# (from memory); the check digits are verified by the reader itself.
GTIN, SSCC = "09506000134352", "376104250021234569"
LOT = {"01": GTIN, "10": "K6-0805-04", "3103": "012500"}


@pytest.mark.parametrize(
    "scan",
    [
        f"]d201{GTIN}10K6-0805-04\x1d3103012500",
        f"]C101{GTIN}10K6-0805-04\x1d3103012500",
        f"]Q301{GTIN}310301250010K6-0805-04",
        f"\x1d01{GTIN}10K6-0805-04\x1d3103012500\r\n",
        f"01{GTIN}10K6-0805-04<GS>3103012500",
        f"01{GTIN}10K6-0805-04\u241d3103012500",
        f"01{GTIN}10K6-0805-04^3103012500",
        f"(01){GTIN}(10)K6-0805-04(3103)012500",
        f"https://id.gs1.org/01/{GTIN}/10/K6-0805-04?3103=012500",
        f"]Q1HTTPS://example.com/some/path/01/{GTIN}/10/K6-0805-04?3103=012500&x=y",
    ],
)
def test_the_same_label_however_it_is_scanned(scan: str) -> None:
    assert {e.ai: e.value for e in fields_on_label(scan)} == LOT


@pytest.mark.parametrize(
    ("text", "fields"),
    [
        (SSCC, {"00": SSCC}),
        (f"]C100{SSCC}", {"00": SSCC}),
        ("9506000134352", {"01": GTIN}),
        ("376104250021234568", {}),  # wrong check digit
        ("K6-0805-04", {}),
        ("LINE-02/040807", {}),
        ("https://example.com/else", {}),
        ("", {}),
    ],
)
def test_bare_keys_and_what_is_no_label(text: str, fields: dict[str, str]) -> None:
    assert {e.ai: e.value for e in fields_on_label(text)} == fields


def test_a_lot_number_whose_end_was_lost_is_among_those_it_may_be() -> None:
    may = lots_it_may_name(f"]d201{GTIN}10K6-0805-043103012500")
    assert "K6-0805-04" in may
    assert len(may[0]) == 20  # no lot number is longer (GS1 General Specifications, AI 10)
    assert list(may) == sorted(may, key=lambda k: (-len(k), k))
    assert lots_it_may_name("K6-1010-04") == ()  # no label: a number typed by hand
    assert without_symbology("]C0K6-0805-04") == "K6-0805-04"
