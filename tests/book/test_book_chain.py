"""The canonical form and the hash chain."""

from __future__ import annotations

import hashlib
import json
import struct
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.book.book_makers import intake, split

from wareleaf import book
from wareleaf.measure import BadInput

# RFC 8785 (Rundgren, Jordan, Erdtman, 2020), appendix B: IEEE 754 double -> JSON. From memory,
# to be verified; each also follows from ECMA-262 Number::toString.
RFC8785_B = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555555": "333333333.3333333",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), RFC8785_B.items())
def test_numbers_as_rfc_8785_appendix_b_prints_them(bits, text):
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert book.canonical(value).decode() == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back_as_itself(value):
    assert float(json.loads(book.canonical(value))) == value


def test_keys_are_sorted_by_utf_16_units_and_texts_are_kept():
    # RFC 8785 section 3.2.3 (from memory): the emoji (a surrogate pair) sorts before U+FB33
    data = {"€": 1, "\r": 2, "\ufb33": 3, "1": 4, "😀": 5, "\u0080": 6, "ö": 7}
    keys = list(json.loads(book.canonical(data)))
    assert keys == ["\r", "1", "\u0080", "ö", "€", "😀", "\ufb33"]
    assert book.canonical({"a": '"\\\n\u001f'}) == b'{"a":"\\"\\\\\\n\\u001f"}'


@pytest.mark.parametrize(
    "bad", [float("nan"), float("inf"), 2**53 + 1, {1: 2}, {"a": object()}, "\ud800"]
)
def test_what_json_cannot_carry_is_refused(bad):
    with pytest.raises(BadInput):
        book.canonical(bad)


def test_the_chain_hash_is_sha256_of_mark_previous_and_body():
    e = intake("i", "K")
    body = json.dumps(book.event_to_json(e), sort_keys=True, separators=(",", ":")).encode()
    assert body == book.canonical_json(e).replace(b'_sd_g":0', b'_sd_g":0.0')
    wanted = hashlib.sha256(b"\x02" + bytes(32) + book.canonical_json(e)).hexdigest()
    assert book.event_hash(book.GENESIS, e) == wanted


def test_every_field_and_every_event_before_counts():
    a, b = intake("i", "K"), split("s", "K", {"A": (10, 1), "B": (10, 1)})
    end = book.event_hash(book.event_hash(book.GENESIS, a), b)
    assert book.event_hash(book.event_hash(book.GENESIS, replace(a, who="bo")), b) != end
    for change in ({"why": "x"}, {"site": "y"}, {"document": "z"}, {"facts": {"k": 1}}):
        assert book.event_hash(book.event_hash(book.GENESIS, a), replace(b, **change)) != end
