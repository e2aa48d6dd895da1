"""The key of the seal: stretched, never half or deleted, and a rotation cut short is finished."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)
from tests.book.book_makers import NOW, intake
from tests.fresh_works import fresh_works
from tests.store.small_disk import DISKS

from wareleaf.book import seal as pure
from wareleaf.measure import BadInput
from wareleaf.store import BookUnavailable, open_book
from wareleaf.works import demo, seal_book, seal_keys

WORDS, NEW = "four dry words here", "five other dry words now"


@pytest.fixture
def works(tmp_path):
    made = fresh_works(tmp_path / "works", Path(demo.__file__).parent / "works.toml")
    made.book.append_many([intake(f"i{n}", f"K{n}", minute=n) for n in range(600)], now=NOW)
    yield made
    made.book.close()


def more(works, n):
    works.book.append_many(
        [intake(f"m{n}-{k}", f"M{n}-{k}", minute=700) for k in range(n)], now=NOW
    )


def test_the_passphrase_is_stretched_and_no_other_opens_the_key(works):
    seal_book.seal_now(works, WORDS)
    data = (works.folder / "seal.key").read_bytes()
    mark, cost, block, salt = data.split(b"\n", 1)[0].rsplit(b" ", 3)
    assert (mark, cost, block, len(salt)) == (b"Passphrase-Stretched: scrypt", b"32768", b"8", 32)
    with pytest.raises(ValueError):
        load_pem_private_key(data, WORDS.encode())
    state = seal_keys.state_of(works)
    for wrong in ("", "four dry words her", WORDS + " "):
        with pytest.raises(BadInput, match="The passphrase does not open"):
            seal_keys.load(works, wrong, state)
    for spoilt in (data[:-40], data.replace(b"8 ", b"x ", 1), b"", b"\xff" * 80):
        (works.folder / "seal.key").write_bytes(spoilt)
        with pytest.raises(BadInput, match="or the file is damaged"):
            seal_keys.load(works, WORDS, state)


def test_a_key_from_before_still_opens(works):
    key = Ed25519PrivateKey.generate()
    locked = BestAvailableEncryption(WORDS.encode())
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked)
    (works.folder / "seal.key").write_bytes(pem)
    vkey = seal_keys.verifier("firm/book", key).vkey
    seal_keys.keep(works, seal_keys.SealState("firm/book", (vkey,), ()))
    assert seal_book.seal_now(works, WORDS).vkey == vkey


def test_old_checkpoints_verify_after_two_rotations(works):
    first = seal_book.seal_now(works, WORDS)
    more(works, 5)
    seal_book.rotate(works, WORDS, NEW)
    more(works, 7)
    last = seal_book.rotate(works, NEW, WORDS)
    state = seal_keys.state_of(works)
    assert len(state.vkeys) == 3 and len(set(state.vkeys)) == 3
    only_first = [pure.verifier_of(state.vkeys[0])]
    assert pure.opened(dict(state.checkpoints)[first.size], only_first).size == 600
    with pytest.raises(BadInput):
        pure.opened(last.note, only_first)
    assert seal_book.changed_since(works) == ""
    pure.check_consistency(seal_book.proof_between(works, 600), state.verifiers)
    assert {p.name for p in works.folder.glob("seal.key*")} == {
        "seal.key", "seal.key.1", "seal.key.2",
    }  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("moment", ["before the book", "after the book", "between the files"])
def test_a_rotation_that_is_killed(works, monkeypatch, moment):
    """Whenever it stops, one of the two passphrases opens the newest key, and nothing is lost."""

    class Killed(BaseException):
        pass

    def killed(*_):
        raise Killed

    seal_book.seal_now(works, WORDS)
    if moment == "before the book":
        monkeypatch.setattr(seal_book, "_add", killed)
    else:
        monkeypatch.setattr(seal_keys, "swap", killed)
    with pytest.raises(Killed):
        seal_book.rotate(works, WORDS, NEW)
    monkeypatch.undo()
    if moment == "between the files":
        (works.folder / "seal.key").replace(works.folder / "seal.key.1")
    more(works, 3)
    if moment == "before the book":
        assert seal_book.seal_now(works, WORDS).size == 603
        seal_book.rotate(works, WORDS, NEW)
    elif moment == "after the book":
        with pytest.raises(BadInput, match=r"seal.key.new may be it: give its passphrase"):
            seal_book.seal_now(works, WORDS)
    assert seal_book.seal_now(works, NEW).size == 603
    assert not (works.folder / "seal.key.new").exists()
    assert seal_book.changed_since(works) == ""


def test_lost_and_put_back(works, tmp_path):
    seal_book.seal_now(works, WORDS)
    seal_book.back_up_key(works, tmp_path / "copy.key")
    assert (tmp_path / "copy.key").stat().st_mode & 0o077 == 0
    (works.folder / "seal.key").unlink()
    with pytest.raises(BadInput, match=r"put back a copy of it. If it is lost, rotate with --lost"):
        seal_book.seal_now(works, WORDS)
    shutil.copyfile(tmp_path / "copy.key", works.folder / "seal.key")
    assert seal_book.seal_now(works, WORDS).size == 600
    (works.folder / "seal.key").unlink()
    alone = seal_book.rotate(works, "", NEW, lost=True)
    state = seal_keys.state_of(works)
    with pytest.raises(BadInput):
        pure.opened(alone.note, [pure.verifier_of(state.vkeys[0])])
    assert seal_book.changed_since(works) == ""


@pytest.mark.parametrize("kind", DISKS, ids=lambda d: d.__name__)
def test_a_key_copied_onto_a_full_disk_leaves_no_half(works, tmp_path, kind):
    seal_book.seal_now(works, WORDS)
    disk = kind(tmp_path / "disk")
    try:
        (works.folder / "seal.key").write_bytes((works.folder / "seal.key").read_bytes() * 9)
        with disk.full(), pytest.raises(BookUnavailable, match="no key was kept there"):
            seal_book.back_up_key(works, disk.folder / "copy.key")
        assert not (disk.folder / "copy.key").exists()
    finally:
        disk.close()


def test_a_quick_seal_reads_only_what_is_new_and_a_whole_one_finds_what_was_changed(works):
    seal_book.seal_now(works, WORDS)
    with works.book.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER event_no_update")
        connection.exec_driver_sql(
            "UPDATE event SET body = replace(body, 'ada', 'eve') WHERE sequence = 7"
        )
    more(works, 4)
    quick = seal_book.seal_now(works, WORDS, whole_check=False)
    assert quick.size == 604, "the changed past was not read, and is not what was signed"
    assert "Event 7 (i6) was changed" in seal_book.changed_since(works)
    with pytest.raises(BadInput, match=r"Not sealed. Event 7 \(i6\) was changed"):
        seal_book.seal_now(works, WORDS)
    with pytest.raises(BadInput, match=r"No receipt. Event 7 \(i6\) was changed"):
        seal_book.receipt_of(works, "K6")
    assert seal_book.receipt_of(works, "K599")["lot"] == "K599", "what was not changed still holds"


def test_a_chain_made_anew_is_pinned_by_the_kept_tiles_and_without_them_by_the_seal(
    works, tmp_path
):
    seal_book.seal_now(works, WORDS)
    events = [r.event for r in works.book.events()]
    kept = {k: works.book.settings_get(k) for k in (seal_book.SETTING, seal_book.TILES)}
    events[300] = replace(events[300], why="as it should be")
    with open_book(tmp_path / "forged.db") as forged:
        forged.append_many(events, now=max(e.recorded_at for e in events))
        for name, value in kept.items():
            forged.settings_put(name, value)
        assert forged.verify().ok
        other = replace(works, book=forged)
        assert "An event among 257 to 512 is not the one" in seal_book.changed_since(other)
        forged.settings_put(seal_book.TILES, "AAAA" * 22)
        assert "An event among 1 to 600 is not the one" in seal_book.changed_since(other)


def test_kept_tiles_that_were_changed_are_not_trusted(works):
    seal_book.seal_now(works, WORDS)
    works.book.settings_put(seal_book.TILES, "AAAA" * 22)
    more(works, 4)
    assert seal_book.seal_now(works, WORDS, whole_check=False).size == 604
    assert seal_book.changed_since(works) == ""
    works.book.settings_put(seal_book.TILES, "AAAA" * 22)
    assert seal_book.receipt_of(works, "K3")["lot"] == "K3"
