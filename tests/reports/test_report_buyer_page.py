"""The buyer's page in Chromium, from the disk and offline, held to what the Python code signs."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from playwright.sync_api import Browser, Page, sync_playwright

from wareleaf.book import Draw, Event, Made, canonical_json, seal
from wareleaf.book.seal import Checkpoint, TreeLevels
from wareleaf.book.tree import consistency_proof, leaf_hash
from wareleaf.reports.buyer_page import buyer_page

pytestmark = pytest.mark.browser
ORIGIN = "strand-works/book"
AT = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
VERIFIER = seal.Verifier(ORIGIN, KEY.public_key().public_bytes_raw())


def made(lot_id: str, dry_g: int, source: str = "") -> Made:
    attributes = {"source": source} if source else {}
    return Made(lot_id, "leaf", "dried", "store", 2 * dry_g, dry_g, 1.0, 1.0, "", attributes)


def event(n: int, kind: str, inputs: tuple[Draw, ...], outputs: tuple[Made, ...], **more) -> Event:
    return Event(f"e{n}", kind, AT, AT, "kelp", inputs=inputs, outputs=outputs, **more)


EVENTS = [
    event(0, "intake", (), (made("A", 3000, "Tärn line"),)),
    event(1, "intake", (), (made("B", 500, "line-2"),)),
    event(2, "combine", (Draw("A", 6000, 3000), Draw("B", 1000, 500)), (made("C", 3500),)),
    event(
        3,
        "correction",
        (),
        (made("B", 1000, "line-2"),),
        corrects="e1",
        facts={"reason": "the scale", "void": False},
    ),
    event(
        4,
        "correction",
        (Draw("A", 6000, 3000), Draw("B", 2000, 1000)),
        (made("C", 4000),),
        corrects="e2",
        facts={"reason": "the scale", "void": False},
    ),
]


def note(leaves: list[bytes]) -> str:
    levels = TreeLevels(leaves)
    return seal.signed(Checkpoint(ORIGIN, levels.size, levels.root), [(ORIGIN, KEY)])


def receipt(others: int = 3) -> dict:
    """Of lot C, in a book with other events around."""
    leaves = [leaf_hash(canonical_json(e)) for e in EVENTS]
    leaves += [leaf_hash(b"other %d" % k) for k in range(others)]
    rows = [(k + 1, e) for k, e in enumerate(EVENTS)]
    return seal.make_receipt("C", rows, TreeLevels(leaves), note(leaves))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as p:
        made = p.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        yield made
        made.close()


@pytest.fixture(scope="module")
def page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    file = tmp_path_factory.mktemp("buyer") / "check.html"
    file.write_text(buyer_page(), "utf-8")
    context = browser.new_context(offline=True)
    opened = context.new_page()
    asked: list[str] = []
    opened.on("request", lambda r: asked.append(r.url))
    opened.goto(file.as_uri())
    yield opened
    assert [url for url in asked if not url.startswith("file:")] == []
    context.close()


def tell(page: Page, data: object, key: str = VERIFIER.vkey) -> str:
    """What the page's own check answers, or its sentence."""
    return page.evaluate(
        "([text, key]) => { try { return JSON.stringify(checkFile(text, key)); }"
        " catch (error) { return error.message; } }",
        [data if isinstance(data, str) else json.dumps(data), key],
    )


def test_a_buyer_opens_the_page_and_sees_where_the_lot_came_from(
    page: Page, tmp_path: Path
) -> None:
    file = tmp_path / "receipt.json"
    file.write_text(json.dumps(receipt()), "utf-8")
    page.set_input_files("#file", file)
    page.fill("#keys", VERIFIER.vkey)
    page.click("button")
    page.wait_for_selector("#found.holds")
    words = re.sub(r"\s+", " ", page.inner_text("#found"))
    assert "These 5 events stood, word for word" in words
    assert "signed with 8 events" in words
    # The corrected weights: 3000 g and 1000 g of dry matter.
    assert "A Tärn line 75.0 %" in words
    assert "B line-2 25.0 %" in words
    sources = seal.check_receipt(receipt(), [VERIFIER]).trace.ends
    assert {n.lot_id: n.share for n in sources} == {"A": 0.75, "B": 0.25}


def test_a_changed_file_is_refused_on_the_page(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "receipt.json"
    file.write_text(json.dumps(receipt()).replace("line-2", "line-3"), "utf-8")
    page.set_input_files("#file", file)
    page.fill("#keys", VERIFIER.vkey)
    page.click("button")
    page.wait_for_selector("#found.fails")
    assert "Event e1 at place 2 is not what stands in the signed book" in page.inner_text("#found")


def changed(**fields: object) -> dict:
    return {**receipt(), **fields}


def test_every_lie_is_told(page: Page) -> None:
    other = Ed25519PrivateKey.from_private_bytes(bytes(32))
    stranger = seal.Verifier(ORIGIN, other.public_key().public_bytes_raw()).vkey
    good = receipt()
    moved = [{**good["events"][0], "index": 1}, *good["events"][1:]]
    cases = [
        (good, stranger, "no signature of the public key"),
        (good, VERIFIER.vkey[:-3], "cannot be read"),
        (good, VERIFIER.vkey.replace("strand", "strands"), "damaged"),
        (good, "", "Give the public key"),
        (changed(checkpoint=good["checkpoint"].replace("\n8\n", "\n9\n")), None, "does not hold"),
        (changed(events=moved), None, "Event e0 at place 2 is not what stands"),
        (changed(events=[]), None, "has no events"),
        (changed(events=good["events"][::-1]), None, "not in the order of the book"),
        (changed(lot="Z"), None, "no event in it makes that lot"),
        (changed(format="else"), None, "no receipt and no proof"),
        ("{", None, "cannot be read as JSON"),
        ("[]", None, "no receipt and no proof"),
    ]
    for data, key, says in cases:
        assert says in tell(page, data, VERIFIER.vkey if key is None else key), says


def test_proofs_of_all_sizes_agree_with_the_python_code(page: Page) -> None:
    leaves = [leaf_hash(b"%d" % k) for k in range(33)]
    for newer in (1, 2, 3, 5, 8, 13, 32, 33):
        for older in range(1, newer + 1):
            proof = consistency_proof(leaves[:newer], older)
            data = seal.make_consistency(note(leaves[:older]), note(leaves[:newer]), proof)
            assert json.loads(tell(page, data))["kind"] == "proof", (older, newer)
            if data["path"]:
                broken = {**data, "path": [*data["path"][:-1], data["path"][0]]}
                if broken["path"] != data["path"]:
                    assert "does not begin with" in tell(page, broken)
            assert "does not begin with" in tell(page, {**data, "path": [*data["path"], "AA=="]})


def test_receipts_in_books_of_all_sizes_hold(page: Page) -> None:
    for others in (0, 1, 2, 3, 4, 11, 27, 60):
        assert json.loads(tell(page, receipt(others)))["kind"] == "receipt"


def test_hashes_and_signatures_are_those_of_the_standards(page: Page) -> None:
    """SHA-256 of "abc" (FIPS 180-4 example) and test 2 of RFC 8032 section 7.1, from memory."""
    assert (
        page.evaluate("hex(sealCrypto.sha256(utf8('abc')))")
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    script = """([key, message, signature]) => {
        const raw = (t) => Uint8Array.from(t.match(/../g), (b) => parseInt(b, 16));
        return sealCrypto.verify(raw(signature), raw(message), raw(key)); }"""
    key = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    signature = (
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert page.evaluate(script, [key, "72", signature]) is True
    assert page.evaluate(script, [key, "73", signature]) is False
