"""``verify RECEIPT``: a buyer's check in an empty folder, with the public key alone."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.works import seal_book
from wareleaf.works.house import create_works
from wareleaf.works.take_in import Load, take_in

DEMO = Path(wareleaf.works.demo.__file__).parent


@pytest.fixture
def sent(tmp_path, monkeypatch):
    """What a works sends: a receipt, and its public key by another way."""
    works = create_works(tmp_path / "works", DEMO / "works.toml")
    _, lot = take_in(works, "teo", Load("line-11", 300.0, 0.0, "quay-scale"))
    seal_book.seal_now(works, "four words of kelp")
    key = seal_book.state_of(works).vkeys[-1]
    receipt = seal_book.receipt_of(works, lot.lot_id)
    works.book.close()
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    monkeypatch.delenv("WARELEAF_WORKS", raising=False)
    (empty / "receipt.json").write_text(json.dumps(receipt))
    return lot.lot_id, key


def verify(*words: str):
    return CliRunner().invoke(cli, ["verify", *words])


def test_it_holds_without_a_works(sent):
    lot, key = sent
    done = verify("receipt.json", "--key", key)
    assert done.exit_code == 0 and done.stdout.startswith("Holds: these 1 events"), done.output
    assert json.loads(verify("receipt.json", "--key", key, "--json").stdout)["lot"] == lot


def test_a_changed_weight_is_pinned_to_its_event(sent):
    _, key = sent
    text = Path("receipt.json").read_text()
    assert text.count("300000") == 1
    Path("receipt.json").write_text(text.replace("300000", "310000"))
    done = verify("receipt.json", "--key", key)
    assert done.exit_code == 2 and "it was changed" in done.output


def test_without_a_key_it_says_which(sent):
    done = verify("receipt.json")
    assert done.exit_code == 2 and "key is missing" in done.output
