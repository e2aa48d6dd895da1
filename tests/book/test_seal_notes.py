"""Signed notes, checkpoints and receipts: published vectors, and forgeries that must not pass."""

import base64
import copy
import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.book.book_makers import correction, event, finish, intake, made, split, start

from wareleaf import book
from wareleaf.book import seal, tree
from wareleaf.measure import BadInput

# C2SP signed-note, its example key (read; traceability notes 3.2).
EXAMPLE_KEY = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"

# The documentation of the Go note package, whose format C2SP took over. Keys and signature from
# memory: a signature does not verify by chance.
NAME = "PeterNeumann"
PUBLIC = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
SECRET = "AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
TEXT = (
    "If you think cryptography is the answer to your problem,\n"
    "then you don't know what your problem is.\n"
)
SIGNATURE = (
    "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6"
    "KE6RyyBwJnAM=\n"
)

ORIGIN = "example.com/book"
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
TRUST = seal.Verifier(ORIGIN, KEY.public_key().public_bytes_raw())
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(32))


def test_published_key_ids():
    for vkey, name in ((EXAMPLE_KEY, "example.com/foo"), (PUBLIC, NAME)):
        found = seal.verifier_of(vkey)
        assert found.name == name
        assert found.vkey == vkey


def test_published_signature_both_ways():
    secret = Ed25519PrivateKey.from_private_bytes(base64.b64decode(SECRET)[1:])
    assert seal.sign(TEXT, [(NAME, secret)]) == TEXT + "\n" + SIGNATURE
    text, held = seal.open_note(TEXT + "\n" + SIGNATURE, [seal.verifier_of(PUBLIC)])
    assert text == TEXT
    assert held[0].name == NAME


def test_unknown_keys_are_ignored_and_a_known_one_that_fails_spoils_the_note():
    note = seal.sign("hello\n", [(ORIGIN, KEY), ("example.com/other", OTHER)])
    assert seal.open_note(note, [TRUST])[1] == (TRUST,)
    many = seal.sign("hello\n", [(f"n{k}", OTHER) for k in range(15)] + [(ORIGIN, KEY)])
    assert seal.open_note(many, [TRUST])[0] == "hello\n"  # 16 must be accepted
    other = seal.Verifier("example.com/other", OTHER.public_key().public_bytes_raw())
    forged = note.replace("hello", "hallo")
    with pytest.raises(BadInput, match="does not hold"):
        seal.open_note(forged, [TRUST, other])
    with pytest.raises(BadInput, match="no signature of a key that is trusted"):
        seal.open_note(seal.sign("hello\n", [("x", OTHER)]), [TRUST])


@pytest.mark.parametrize(
    "note",
    [
        "",
        "text\n",
        "text\n\n",
        "text\n\n- x AAAA\n",
        "text\n\n— x AA\n",
        "te\x07xt\n\n— x AAAAAAAAAA==\n",
    ],
)
def test_malformed_notes(note):
    with pytest.raises(BadInput):
        seal.open_note(note, [TRUST])


@pytest.mark.parametrize(
    "vkey",
    [
        "",
        "a+b",
        EXAMPLE_KEY[:-4],
        EXAMPLE_KEY.replace("530d", "530e"),
        "x y" + EXAMPLE_KEY,
        "a+1+%",
    ],
)
def test_malformed_keys(vkey):
    with pytest.raises(BadInput):
        seal.verifier_of(vkey)


def test_a_checkpoint_is_three_lines_and_of_its_own_book():
    point = seal.Checkpoint(ORIGIN, 7, bytes(32))
    note = seal.signed(point, [(ORIGIN, KEY)])
    assert note.split("\n")[:3] == [ORIGIN, "7", base64.b64encode(bytes(32)).decode()]
    assert seal.opened(note, [TRUST]) == point
    stranger = seal.Verifier("example.com/else", KEY.public_key().public_bytes_raw())
    with pytest.raises(BadInput, match="of another book"):
        seal.opened(seal.sign(point.text, [("example.com/else", KEY)]), [stranger])
    for text in (f"{ORIGIN}\n07\nAAAA\n", f"{ORIGIN}\n7\nAAAA\n", f"{ORIGIN}\n7\n"):
        with pytest.raises(BadInput):
            seal.opened(seal.sign(text, [(ORIGIN, KEY)]), [TRUST])


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 70), st.data())
def test_levels_and_walk_agree_with_the_tree(size, data):
    leaves = [tree.leaf_hash(bytes([k])) for k in range(size)]
    levels = seal.TreeLevels(leaves)
    assert levels.root == tree.root(leaves)
    index = data.draw(st.integers(0, size - 1))
    assert levels.path(index) == tree.inclusion_proof(leaves, index)
    sizes = data.draw(st.sets(st.integers(0, size), min_size=1))
    assert seal.roots_at(leaves, sizes) == {n: tree.root(leaves[:n]) for n in sizes}


def history():
    return [
        intake("E1", "K1"),
        intake("E2", "K2", minute=1),
        start("E3", "R1", ["K1"]),
        finish(
            "E4",
            "R1",
            [("K1", 1_000_000, 100_000)],
            [made("D1", 110_000, 99_000, form="dried")],
            [("water", 889_000, 0), ("dust", 1_000, 1_000)],
        ),
        split("E5", "K2", {"A": (500_000, 50_000)}, minute=210),
        event(
            "E6",
            "blend",
            220,
            inputs=[("D1", 110_000, 99_000), ("A", 500_000, 50_000)],
            outputs=[made("B", 610_000, 149_000, form="blended")],
        ),
        correction(
            "E7",
            "E5",
            minute=300,
            happened=210,
            inputs=[("K2", 500_000, 50_000)],
            outputs=[made("A", 500_000, 50_000)],
            facts={"kind": "split"},
        ),
    ]


def receipt(lots=("B", "D1", "A", "K1", "K2"), lot="B"):
    events = list(enumerate(history(), 1))
    levels = seal.TreeLevels([tree.leaf_hash(book.canonical_json(e)) for _, e in events])
    note = seal.signed(seal.Checkpoint(ORIGIN, levels.size, levels.root), [(ORIGIN, KEY)])
    return seal.make_receipt(lot, seal.events_of_lot(lots, events), levels, note)


def test_a_receipt_holds_with_the_public_key_alone():
    proved = seal.check_receipt(json.loads(json.dumps(receipt())), [TRUST])
    assert [e for _, e in proved.events] == history()
    assert proved.gaps == ()
    shares = {n.lot_id: n.share for n in proved.trace.ends}
    assert shares == pytest.approx({"K1": 99 / 149, "K2": 50 / 149})


def test_a_receipt_without_the_past_says_what_is_missing():
    made_of = receipt(lots=("B",))
    proved = seal.check_receipt(made_of, [TRUST])
    assert set(proved.gaps) == {"D1", "A"}
    assert len(proved.events) == 1


def test_a_correction_comes_along_with_what_it_corrects():
    events = list(enumerate(history(), 1))
    found = seal.events_of_lot(("A",), events)
    assert [e.event_id for _, e in found] == ["E5", "E6", "E7"]


def test_one_proof_as_a_letter():
    data = receipt()
    letter = seal.tlog_proof(data["events"][2], data["checkpoint"])
    lines = letter.split("\n")
    assert lines[:2] == ["c2sp.org/tlog-proof@v1", "index 2"]
    head, _, checkpoint = letter.partition("\n\n")
    assert checkpoint == data["checkpoint"]
    path = [base64.b64decode(x) for x in head.split("\n")[2:]]
    point = seal.opened(checkpoint, [TRUST])
    leaf = tree.leaf_hash(data["events"][2]["event"].encode())
    assert tree.verify_inclusion(leaf, 2, point.size, path, point.root)


def _tamper(field, value):
    def change(data):
        data["events"][3][field] = value(data["events"][3][field])

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_tamper("event", lambda t: t.replace("99000", "98000")), "E4 at place 4 is not what"),
        (_tamper("index", lambda n: n + 1), "is not what stands"),
        (_tamper("path", lambda p: p[:-1]), "is not what stands"),
        (_tamper("path", lambda p: ["AAAA", *p]), "is not what stands"),
        (_tamper("path", lambda p: ["%", *p]), "cannot be read"),
        (_tamper("event", lambda t: "{"), "cannot be read"),
        (lambda d: d["events"].reverse(), "not in the order"),
        (lambda d: d["events"].append(d["events"][0]), "not in the order"),
        (lambda d: d.update(events=[]), "no events"),
        (lambda d: d.update(lot="Z"), "no event in it makes that lot"),
        (lambda d: d.update(format="x"), "not a receipt"),
        (lambda d: d.update(checkpoint=d["checkpoint"].replace("\n7\n", "\n8\n")), "does not hold"),
        (lambda d: d.pop("checkpoint"), "is missing"),
    ],
)
def test_a_changed_receipt_is_refused_and_the_event_named(change, words):
    data = copy.deepcopy(receipt())
    change(data)
    with pytest.raises(BadInput, match=words):
        seal.check_receipt(data, [TRUST])


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_no_changed_letter_in_an_event_passes(data):
    one = copy.deepcopy(receipt())
    item = one["events"][data.draw(st.integers(0, 6))]
    text = item["event"]
    k = data.draw(st.integers(0, len(text) - 1))
    letter = data.draw(st.characters(codec="utf-8").filter(lambda c: c != text[k]))
    item["event"] = text[:k] + letter + text[k + 1 :]
    with pytest.raises(BadInput):
        seal.check_receipt(one, [TRUST])


def test_consistency_between_checkpoints():
    leaves = [tree.leaf_hash(book.canonical_json(e)) for e in history()]

    def note(size, root=None):
        point = seal.Checkpoint(ORIGIN, size, root or tree.root(leaves[:size]))
        return seal.signed(point, [(ORIGIN, KEY)])

    good = seal.make_consistency(note(3), note(7), tree.consistency_proof(leaves, 3))
    older, newer = seal.check_consistency(json.loads(json.dumps(good)), [TRUST])
    assert (older.size, newer.size) == (3, 7)
    rewritten = [tree.leaf_hash(b"changed"), *leaves[1:]]
    bad = seal.make_consistency(
        note(3), note(7, tree.root(rewritten)), tree.consistency_proof(rewritten, 3)
    )
    with pytest.raises(BadInput, match="its past was changed"):
        seal.check_consistency(bad, [TRUST])
    with pytest.raises(BadInput, match="cannot be read"):
        seal.check_consistency(good | {"path": ["%"]}, [TRUST])
