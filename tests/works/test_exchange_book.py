"""The demo's book out to a document and into a new book; over the command line. Demo data."""

import json

import pytest
from click.testing import CliRunner

from wareleaf.book.exchange import Naming
from wareleaf.cli.commands.exchange import command
from wareleaf.measure import BadInput
from wareleaf.store import open_book
from wareleaf.works.exchange_book import document_of, make_book, naming_of, read_in, set_naming

pytestmark = pytest.mark.slow

BASE = "https://example.com/trace/"


def test_the_whole_book_out_and_in(demo_works, tmp_path):
    with pytest.raises(BadInput, match="never said"):
        naming_of(demo_works)
    set_naming(demo_works, Naming(BASE, gtin={"black-leaf-1000": "09506000134352"}))
    folder = ["--works", str(demo_works.folder)]
    file, book = tmp_path / "all.jsonld", tmp_path / "again.db"
    run = CliRunner().invoke(command, ["out", str(file), "--private", *folder])
    assert run.exit_code == 0, run.output
    assert CliRunner().invoke(command, ["out", str(file), *folder]).exit_code == 2  # never over
    run = CliRunner().invoke(command, ["in", str(file), "--into", str(book), "--json", *folder])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["recorded"] > 500
    with open_book(book, create=False) as again:
        assert again.verify().ok
        first = {lot.lot_id: lot for lot in demo_works.book.lots()}
        assert {lot.lot_id: lot for lot in again.lots()} == first


def test_the_past_of_one_lot_is_complete_for_its_buyer(demo_works, tmp_path):
    set_naming(demo_works, Naming(BASE))
    packed = demo_works.book.lots(form="packed")[0]
    doc = document_of(demo_works, packed.lot_id)
    whole = document_of(demo_works)
    events = doc["epcisBody"]["eventList"]
    assert 5 < len(events) < len(whole["epcisBody"]["eventList"])
    made = {item["wareleaf:lotId"] for e in events for item in e.get("wareleaf:made", ())}
    trace = demo_works.book.trace_back(packed.lot_id)
    assert {n.lot_id for n in trace.nodes} <= made
    file = tmp_path / "lot.jsonld"
    file.write_text(json.dumps(doc))
    found = read_in(file, naming_of(demo_works))
    assert len(found.events) == len([e for e in events if "errorDeclaration" not in e])
    with pytest.raises(BadInput, match="written with --private"):
        make_book(found, tmp_path / "half.db")
    assert not (tmp_path / "half.db").exists()


def test_a_shipped_lot_arrives_at_another_works(demo_works, tmp_path):
    """Out and in over the command line; the buyer addresses its lots in its own way."""
    set_naming(demo_works, Naming(BASE))
    shipped = next(lot for lot in demo_works.book.lots(form="packed") if lot.shipped_mass_g)
    file, folder = tmp_path / "one.json", ["--works", str(demo_works.folder)]
    run = CliRunner().invoke(command, ["out", str(file), "--lot", shipped.lot_id, *folder])
    assert run.exit_code == 0, run.output
    found = read_in(file, Naming("https://buyer.example/"))
    of_it = [a for a in found.arrivals if a.lot == shipped.lot_id]
    assert sum(round(a.mass_kg * 1000) for a in of_it) == shipped.shipped_mass_g
    assert sum(round(a.dry_kg * 1000) for a in of_it) == shipped.shipped_dry_g
    assert all(a.document and a.sender.startswith(f"{BASE}place/") for a in of_it)
    run = CliRunner().invoke(command, ["in", str(file), *folder])
    assert run.exit_code == 0, run.output
    assert f"{shipped.lot_id}: {shipped.shipped_mass_g / 1000:g} kg" in run.output
    assert f"papers {of_it[0].document}" in run.output


def test_bad_files_are_refused(demo_works, tmp_path):
    file = tmp_path / "x.json"
    for text, words in (("{", "cannot be read"), ("[]", "no JSON object"), ("{}", "EPCIS 2.0")):
        file.write_text(text)
        with pytest.raises(BadInput, match=words):
            read_in(file, Naming(BASE))
    file.write_text(
        '{"type": "EPCISDocument", "schemaVersion": "2.0", "epcisBody": {"eventList": []}}'
    )
    with pytest.raises(BadInput, match="no events"):
        make_book(read_in(file, Naming(BASE)), tmp_path / "b.db")
    with pytest.raises(BadInput, match="the settings know"):
        set_naming(demo_works, Naming(BASE, gln={"moon": "4012345000054"}))
