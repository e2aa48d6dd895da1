"""Sealing a works' book over the command line: keys, rotation, receipts, and what is noticed."""

import json
import shutil

import pytest
from click.testing import CliRunner

from wareleaf.cli.commands import receipt, seal, verify_receipt
from wareleaf.measure import BadInput
from wareleaf.works import seal_book
from wareleaf.works.house import open_works

pytestmark = pytest.mark.slow

WORDS = "four dry words here"


@pytest.fixture
def call(demo_works):
    def run(command, *arguments, words=WORDS, new=""):
        environment = {seal.PASSPHRASE: words, seal.PASSPHRASE + "_NEW": new}
        place = [] if command is verify_receipt.command else ["--works", str(demo_works.folder)]
        done = CliRunner().invoke(command, [*map(str, arguments), *place], env=environment)
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        return done

    return run


def test_from_the_first_seal_to_a_receipt_that_a_buyer_checks(demo_works, call, tmp_path):
    first = call(seal.command, "--json")
    assert first.exit_code == 0, first.output
    sealed = json.loads(first.stdout)
    key_file = demo_works.folder / seal_book.KEY_FILE
    assert key_file.stat().st_mode & 0o077 == 0
    assert b"ENCRYPTED" in key_file.read_bytes()
    assert call(seal.command, words="wrong words here").exit_code == 2
    quick = call(seal.command, "--quick", "--json")
    assert json.loads(quick.stdout)["root_hex"] == sealed["root_hex"]
    lot = demo_works.book.lots(form="packed")[0].lot_id
    file = tmp_path / "receipt.json"
    assert call(receipt.command, lot, file).exit_code == 0
    assert call(receipt.command, lot, file).exit_code == 2  # never over a file
    vkey = sealed["vkey"]
    shutil.move(demo_works.folder, tmp_path / "gone")  # the buyer has no works
    good = call(verify_receipt.command, file, "--key", vkey, "--json")
    shutil.move(tmp_path / "gone", demo_works.folder)
    assert good.exit_code == 0, good.output
    shown = json.loads(good.stdout)
    assert shown["lot"] == lot
    assert shown["gaps"] == []
    assert sum(s["share"] for s in shown["sources"]) == pytest.approx(1.0, abs=1e-9)
    text = call(verify_receipt.command, file, "--key", vkey).output
    assert "Holds" in text
    data = json.loads(file.read_text())
    event = json.loads(data["events"][0]["event"])
    data["events"][0]["event"] = data["events"][0]["event"].replace(event["who"], "someone")
    file.write_text(json.dumps(data))
    bad = call(verify_receipt.command, file, "--key", vkey)
    assert bad.exit_code == 2
    assert event["event_id"] in bad.output


def test_rotation_keeps_old_seals_and_ties_the_new_key(demo_works, call, tmp_path):
    old = seal_book.seal_now(demo_works, WORDS)
    assert call(seal.command, "backup", tmp_path / "key").exit_code == 0
    done = call(seal.command, "rotate", new="five other dry words")
    assert done.exit_code == 0, done.output
    state = seal_book.state_of(demo_works)
    assert len(state.vkeys) == 2
    note = dict(state.checkpoints)[old.size]
    from wareleaf.book import seal as pure

    for vkey in state.vkeys:  # both signed the checkpoint of the change
        assert pure.opened(note, [pure.verifier_of(vkey)]).size == old.size
    assert call(seal.command).exit_code == 2  # the old passphrase no longer opens the key
    assert call(seal.command, words="five other dry words").exit_code == 0
    assert call(seal.command, "check").exit_code == 0
    assert "checkpoint of" in call(seal.command, "keys").output
    (demo_works.folder / seal_book.KEY_FILE).unlink()
    lost = call(seal.command, words="five other dry words")
    assert lost.exit_code == 2
    assert "rotate with --lost" in lost.output
    assert call(seal.command, "rotate", "--lost", new="six quite other words").exit_code == 0


def test_a_proof_between_checkpoints(demo_works, call, tmp_path):
    first = seal_book.seal_now(demo_works, WORDS)
    now = demo_works.now()
    from wareleaf.book import Event

    demo_works.book.append(Event("", "note", now, now, "kelp", facts={"n": 1}), now=now)
    second = seal_book.seal_now(demo_works, WORDS)
    assert second.size == first.size + 1
    file = tmp_path / "proof.json"
    assert call(seal.command, "proof", first.size, file).exit_code == 0
    shown = call(verify_receipt.command, file, "--key", first.vkey)
    assert "nothing in those was changed" in shown.output
    assert call(seal.command, "proof", 3, tmp_path / "p").exit_code == 2


def test_a_book_made_anew_behind_the_seal_is_noticed(demo_works, tmp_path):
    """Someone with the file makes the whole chain anew: the chain is whole, the seal is not."""
    seal_book.seal_now(demo_works, WORDS)
    rows = [r.event for r in demo_works.book.events()]
    state = demo_works.book.settings_get(seal_book.SETTING)
    forged = tmp_path / "forged"
    forged.mkdir()
    for name in ("works.toml", seal_book.KEY_FILE):
        shutil.copy(demo_works.folder / name, forged / name)
    from dataclasses import replace

    from wareleaf.store import open_book

    with open_book(forged / "book.db") as made:
        changed = [replace(e, why="as it should be") if k == 9 else e for k, e in enumerate(rows)]
        made.append_many(changed, now=max(e.recorded_at for e in rows))
        made.settings_put(seal_book.SETTING, state)
        assert made.verify().ok
    works = open_works(forged)
    assert "is not the one that was signed" in seal_book.changed_since(works)
    with pytest.raises(BadInput, match="Not sealed"):
        seal_book.seal_now(works, WORDS)
    works.book.close()


def test_refusals(demo_works, call, tmp_path):
    lot = demo_works.book.lots()[0].lot_id
    with pytest.raises(BadInput, match="never sealed"):
        seal_book.receipt_of(demo_works, lot)
    with pytest.raises(BadInput, match="too short"):
        seal_book.seal_now(demo_works, "short")
    with pytest.raises(BadInput, match="no blanks"):
        seal_book.seal_now(demo_works, WORDS, "with blank")
    seal_book.seal_now(demo_works, WORDS, "example.com/book")
    with pytest.raises(BadInput, match="keep that name"):
        seal_book.seal_now(demo_works, WORDS, "example.com/other")
    assert call(verify_receipt.command, tmp_path / "none", "--key", "x").exit_code == 2
