"""Holds, waste, destruction and releases carry their paper and time; releases a certificate."""

import json
from dataclasses import replace
from datetime import timedelta
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner

from wareleaf.book import Made
from wareleaf.book.exchange import Naming
from wareleaf.cli.main import cli
from wareleaf.measure import BadInput
from wareleaf.works import bench, handle_lot, release_lot, ship
from wareleaf.works.destroy import destroy
from wareleaf.works.exchange_book import document_of, set_naming
from wareleaf.works.house import create_works
from wareleaf.works.record import Entry, draw, record
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))
CERTIFICATE = "https://certifier.example/certificates/77"


@pytest.fixture
def works(tmp_path):
    made = create_works(tmp_path / "works", SETTINGS)
    yield made
    made.book.close()


def fresh(works):
    return take_in(works, "teo", Load("line-11", 300.0, 0.0, "quay-scale"))[1].lot_id


def releasable(works):
    """A dried lot with what Australia asks for."""
    run_id = start_run(works, "runa", "belt-1", [fresh(works)])
    off = Off(36.0, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    lot = finish_run(works, "runa", run_id, [off])[0].lot_id
    sample = bench.take_sample(works, "mirel", lot, 50)
    for name, value in (("iodine", 400.0), ("inorganic_arsenic", 0.2)):
        found = bench.Found(name, value, 0.05 * value, "mg/kg", "dry")
        bench.record_result(works, "mirel", lot, sample, found)
    return lot


def test_a_certificate_goes_out_with_the_exchange(works):
    lot = releasable(works)
    set_naming(works, Naming("https://works.example/trace/"))
    signed = release_lot.release(
        works, "bex", lot, ["AU"], document="COA-9", certificate=f" {CERTIFICATE} "
    )
    assert (signed.document, signed.facts["certificate"]) == ("COA-9", CERTIFICATE)
    sent = document_of(works)["epcisBody"]["eventList"]
    assert [e["certificationInfo"] for e in sent if "certificationInfo" in e] == [[CERTIFICATE]]


@pytest.mark.parametrize("wrong", ["cert 77", "77", "https://", "https://a b.example/"])
def test_a_certificate_is_an_address(works, wrong):
    lot = releasable(works)
    before = len(works.book.events())
    with pytest.raises(BadInput, match="give its address"):
        release_lot.release(works, "bex", lot, ["AU"], certificate=wrong)
    assert len(works.book.events()) == before


def test_hold_free_waste_and_destruction_carry_their_paper(works):
    lot = fresh(works)
    made_at = works.book.lot(lot).made_at
    first, second = handle_lot.split(works, "teo", lot, [100.0, 200.0])
    held = handle_lot.hold_all(works, "teo", lot, "smells", document="H-1")
    assert [e.document for e in held] == ["H-1"] * 3
    assert {e.facts["lot_id"] for e in held[1:]} == {first.lot_id, second.lot_id}
    assert handle_lot.free(works, "bex", first.lot_id, "clean", document="F-1").document == "F-1"
    at = works.book.lot(first.lot_id).made_at + timedelta(milliseconds=1)
    wasted = handle_lot.write_off(
        works, "teo", first.lot_id, 1.0, "wet", document="W-1", happened_at=at
    )
    assert (wasted.document, wasted.happened_at) == ("W-1", at)
    said = {"method": "composted", "witness": "Teo", "document": "D-1", "reason": "smells"}
    gone = destroy(works, "ilsa", second.lot_id, None, **said, happened_at=at)
    assert gone.happened_at == at and gone.recorded_at >= at
    early = made_at - timedelta(hours=1)
    with pytest.raises(BadInput, match="before its lot"):
        destroy(works, "ilsa", first.lot_id, None, **said, happened_at=early)


def test_a_hold_at_the_shell_names_what_is_held_with_it_and_who_has_some(works):
    lot = releasable(works)
    release_lot.release(works, "bex", lot, ["AU"])
    first, second = handle_lot.split(works, "runa", lot, [10.0, 20.0])
    release_lot.release(works, "bex", first.lot_id, ["AU"])
    ship.ship(works, "jorun", "southrim", {first.lot_id: 4.0})
    words = ["hold", lot, "shells", "--who", "runa", "--works", str(works.folder)]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 0, done.output
    assert f"made of it: {first.lot_id}, {second.lot_id}" in done.output
    assert "has left, to Southrim Pantry" in done.output
    again = CliRunner().invoke(cli, [*words, "--json"])
    assert [e["facts"]["lot_id"] for e in json.loads(again.stdout)["events"]] == [lot]


def packed(works):
    """Kelp flake in 20 packs of about 500 g, signed free for Australia by a bare entry."""
    taken = Load("line-01", 300.0, 0.0, "quay-scale", moisture_wb=0.9, moisture_meter="kelp-quick")
    lot = take_in(works, "teo", taken)[1]
    made = Made("KP", "sugar_kelp_blanched", "packed", "pack store", 10_000, 9_000, 10, 10)
    made = replace(made, attributes={"packs": 20, "product": "kelp-flake-500"})
    facts = {"film": "pet-pe", "nominal_g": 500}
    entry = Entry(kind="pack", site="kelp", who="jorun", facts=facts, outputs=(made,))
    record(works, replace(entry, inputs=(draw(lot, 90.0),)))
    release = {"lot_id": "KP", "markets": ["AU"]}
    record(works, Entry(kind="release", site="kelp", who="bex", facts=release))
    return "KP"


def test_packs_are_shipped_by_count(works):
    lot = packed(works)
    sent = ship.ship(works, "jorun", "southrim", {}, packs={lot: 7})
    assert (sent.inputs[0].mass_g, sent.facts["packs"]) == (3500, {lot: 7})
    words = ["ship", "southrim", f"{lot}=12 packs", "--who", "jorun", "--works", str(works.folder)]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 0 and done.output.startswith("6 kg shipped"), done.output
    for count, said in ((2, "1 are here and on none"), (0, "must be 1 or more")):
        with pytest.raises(BadInput, match=said):
            ship.ship(works, "jorun", "southrim", {}, packs={lot: count})
    with pytest.raises(BadInput, match="not both"):
        ship.ship(works, "jorun", "southrim", {lot: 0.5}, packs={lot: 1})
    ship.ship(works, "jorun", "southrim", {}, packs={lot: 1})
    assert works.book.lot(lot).remaining_mass_g == 0


def test_leaf_that_is_not_packed_has_no_packs(works):
    with pytest.raises(BadInput, match="does not know how many packs"):
        ship.ship(works, "jorun", "southrim", {}, packs={fresh(works): 1})
