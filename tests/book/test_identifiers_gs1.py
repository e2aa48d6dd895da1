"""GS1 identifiers against the vectors of the GS1 Syntax Dictionary and published examples."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book.identifiers import (
    bracketed,
    check_digit,
    elements_of,
    has_good_check_digit,
    identifiers,
    link_of,
    raw,
    read,
    read_link,
    with_check_digit,
)
from wareleaf.book.identifiers.content import CHECKS, CSET82, NOT_CHECKED
from wareleaf.measure import BadInput

VECTORS = json.loads(
    (Path(__file__).parents[1] / "data" / "gs1_linter_vectors.json").read_text("utf-8")
)
STANDARDS = Path(__file__).parents[3] / "shared" / "standards" / "gs1"


@pytest.mark.parametrize("name", sorted(CHECKS))
def test_content_checks_against_the_published_vectors(name):
    """Arguments of the tests of gs1-syntax-dictionary @ff2eb4bf (Apache-2.0)."""
    cases = VECTORS[name]
    assert len(cases["pass"]) + len(cases["fail"]) >= 9
    for text in cases["pass"]:
        assert CHECKS[name](text) == "", text
    for text in cases["fail"]:
        assert CHECKS[name](text), text


# Worked examples: GS1's check-digit page (copy), GS1 India's page (read), the dictionary's tests.
@pytest.mark.parametrize(
    ("body", "digit"),
    [
        ("629104150021", "3"),
        ("890400021003", "7"),
        ("0234567", "3"),
        ("41600033610", "8"),
        ("123456789012", "8"),
        ("1234567890123", "1"),
        ("12345678901234567", "5"),
        ("37610425002123456", "9"),
    ],
)
def test_published_check_digits(body, digit):
    assert check_digit(body) == digit
    assert has_good_check_digit(with_check_digit(body))


@settings(deadline=None)
@given(st.text("0123456789", min_size=7, max_size=17), st.integers(0, 17), st.integers(1, 9))
def test_every_single_wrong_digit_is_noticed(body, place, step):
    key = with_check_digit(body)
    place %= len(key)
    wrong = key[:place] + str((int(key[place]) + step) % 10) + key[place + 1 :]
    assert not has_good_check_digit(wrong)


def test_every_check_that_the_table_names_exists():
    for one in identifiers().values():
        for part in one.components:
            assert set(part.checks) <= set(CHECKS) | NOT_CHECKED, one.ai
        assert one.title or one.ai.startswith("9"), one.ai


# Digital Link examples (GS1 Digital Link and the Syntax Engine's tests, read).
@pytest.mark.parametrize(
    ("link", "text"),
    [
        (
            "https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426",
            "^010952012345678810ABC1^2112345^17180426",
        ),
        ("https://id.gs1.org/01/09520123456788?3103=000195", "^01095201234567883103000195"),
        (
            "https://id.gs1.org/01/12312312312333/10/ABC%2B123?99=XYZ%2BQWERTY",
            "(01)12312312312333(10)ABC+123(99)XYZ+QWERTY",
        ),
    ],
)
def test_published_digital_links_both_ways(link, text):
    assert read_link(link) == read(text)
    assert link_of(read(text)) == link


@pytest.mark.parametrize(
    "link",
    [
        "HtTp://id.gs1.org/01/09520123456788",
        "https://id.gs1.org/01/09520123456788?01=09520123456788",
        "https://id.gs1.org/01/09520123456788/21/1/10/A",
        "https://id.gs1.org/01/09520123456789",
        "https://id.gs1.org/10/A",
        "https://example.com/about",
    ],
)
def test_links_that_are_refused(link):
    with pytest.raises(BadInput):
        read_link(link)


def test_a_link_may_lie_under_a_path_and_carry_other_parameters():
    found = read_link("https://example.com/shop/01/9506000134352/10/A1?lang=en&15=271031#x")
    assert bracketed(found) == "(01)09506000134352(10)A1(15)271031"


CASE = "(01)09506000134352(13)260401(15)271031(3103)012500(10)KELP-A26-0412(21)S0001"
# as decoded by an independent reader from a symbol with these fields (traceability notes 2.5)
DECODED = "01095060001343521326040115271031310301250010KELP-A26-0412\x1d21S0001"


def test_a_case_label_raw_and_read():
    found = read(CASE)
    assert raw(found) == DECODED
    assert read("]d2" + DECODED) == read("]C1" + DECODED) == found
    assert bracketed(found) == CASE
    meanings = {e.ai: e.meaning(2026) for e in found}
    assert meanings["3103"] == 12.5
    assert meanings["15"] == "2027-10-31"
    assert meanings["10"] is None


def test_centuries_and_months():
    (_, packed) = elements_of([("01", "09506000134352"), ("13", "760400")])
    assert packed.meaning(2026) == "2076-04"
    assert packed.meaning(2025) == "1976-04"
    (_, harvest) = elements_of([("01", "09506000134352"), ("7007", "260412260414")])
    assert harvest.meaning(2026) == "2026-04-12/2026-04-14"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("(01)09506000134353", "wrong check digit"),
        ("(01)0950600013435", "must be 14"),
        ("(01)09506000134352(13)261301", "no date"),
        ("(01)09506000134352(15)260230", "no date"),
        ("(01)09506000134352(10)A B", "no barcode field may hold"),
        ("(01)09506000134352(10)" + "A" * 21, "must be 1 to 20"),
        ("(01)09506000134352(10)", "must be 1 to 20"),
        ("(01)09506000134352(422)999", "no country"),
        ("(01)09506000134352(37)12", "may not stand together"),
        ("(10)A1", "needs (01) or"),
        ("(02)09506000134352", "needs (37)"),
        ("(01)09506000134352(01)00614141111114", "stands twice"),
        ("(01)09506000134352(3103)012500(3102)001250", "may not stand together"),
        ("(05)1", "no Application Identifier"),
        ("(01)09506000134352x(10", "cannot be read"),
        ("]E0123", "carries no GS1 fields"),
        ("]d20109506000134352" + "10A1\x1d", "ends in a separator"),
        ("]d2" + "05ABC", "no Application Identifier at"),
        ("]d2", "empty"),
    ],
)
def test_wrong_labels_are_refused_in_words(text, words):
    with pytest.raises(BadInput) as caught:
        read(text)
    assert any(words in p.message for p in caught.value.problems), caught.value.problems


def test_pallet_label_with_its_content():
    found = elements_of(
        {"00": "376104250021234569", "02": "09506000134352", "37": "48", "10": "A1"}
    )
    assert read(raw(found)) == found
    assert link_of(found[:1]) == "https://id.gs1.org/00/376104250021234569"


@settings(deadline=None, max_examples=150)
@given(
    st.text(sorted(CSET82), min_size=1, max_size=20),
    st.text(sorted(CSET82 - set("^")), min_size=1, max_size=20),
    st.permutations(["10", "21", "15", "3103"]),
)
def test_any_content_survives_every_form(lot, serial, order):
    values = {"10": lot, "21": serial, "15": "271031", "3103": "012500"}
    found = elements_of([("01", "09506000134352"), *((ai, values[ai]) for ai in order)])
    assert read("]d2" + raw(found)) == found
    assert read(bracketed(found)) == found
    again = read_link(link_of(found))
    assert {e.ai: e.value for e in again} == {e.ai: e.value for e in found}


@pytest.mark.skipif(not STANDARDS.is_dir(), reason=f"{STANDARDS} is absent")
def test_our_rows_are_those_of_the_dictionary():
    import re

    words = {
        tuple(line.split("#")[0].split())
        for line in (STANDARDS / "gs1-syntax-dictionary.txt").read_text("utf-8").split("\n")
        if line and not line.startswith("#")
    }
    import wareleaf.book.identifiers as room

    ours = Path(room.__file__).parent / "data" / "application_identifiers.txt"
    rows = [x for x in ours.read_text("utf-8").split("\n") if x and not x.startswith("#")]
    assert len(rows) > 80
    for row in rows:
        assert tuple(re.split(r"\s*#", row)[0].split()) in words, row
