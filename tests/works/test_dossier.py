"""The dossier says where a lot came from, what was done, measured and signed, and its seal."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

import wareleaf.works.demo
from wareleaf.measure import BadInput
from wareleaf.works.correct_weights import correct_weights
from wareleaf.works.dossier import dossier
from wareleaf.works.handle_lot import split, write_off
from wareleaf.works.import_sheets import import_sheets
from wareleaf.works.run_stage import Off, finish_run, record_reading, start_run

DEMO = Path(wareleaf.works.demo.__file__).parent
NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    made = fresh_works(tmp_path_factory.mktemp("dossier") / "works", DEMO / "works.toml")
    ready = replace(made, clock=lambda: NOW)
    import_sheets(ready, "ilsa", DEMO / "sheets", DEMO / "sheets" / "mapping.toml")
    yield ready
    made.book.close()


def lot(works, own: str) -> str:
    return next(x.lot_id for x in works.book.lots() if x.attributes.get("own_number") == own)


def test_origins_and_tickets_add_up_to_the_lot(works):
    found = dossier(works, lot(works, "4131"))
    assert {o.source_id for o in found.origins} == {"line-01", "line-02"}
    assert sum(o.share for o in found.origins) == pytest.approx(1.0, abs=1e-9)
    assert sum(t.dry_kg for t in found.tickets) == pytest.approx(found.lot.dry_g / 1000.0)
    assert {t.document for t in found.tickets} == {"4101", "4102"}
    assert {t.ticket_kg for t in found.tickets} == {968.0, 838.0}


def test_steps_stand_in_order_with_settings_and_what_is_unexplained(works):
    found = dossier(works, lot(works, "4131"))
    assert [s.stage for s in found.steps] == ["wash", "wash", "blanch", "dry"]
    bath = found.steps[2]
    assert ("Bath temperature", "80 °C") in bath.settings
    assert {name for name, _, _ in bath.streams} == {"leached", "water"}
    for step in found.steps:
        dry_in = sum(p.mass_kg * (1.0 - p.moisture_wb) for p in step.taken)
        dry_out = sum(p.mass_kg * (1.0 - p.moisture_wb) for p in step.made)
        lost = sum(dry for _, _, dry in step.streams)
        assert dry_in - dry_out - lost == pytest.approx(step.unexplained_dry_kg, abs=1e-9)
        assert not step.significant


def test_what_was_measured_and_signed_is_there(works):
    found = dossier(works, lot(works, "4133"))
    assert {r.parameter for _, r, _ in found.results} == {"iodine", "inorganic_arsenic", "cadmium"}
    assert [(m.quantity, m.unit) for m in found.measured] == [("moisture", "% wb")]
    assert [s.kind for s in found.signed] == ["release", "hold"]
    release = found.signed[0]
    assert (release.who, release.document, release.markets) == ("Bex Orlay", "QR-12", ("AU",))
    lines = release.decisions[0]["decisions"]
    iodine = next(x for x in lines if x["parameter"] == "iodine")
    assert iodine["probability"] == pytest.approx(1.0)
    assert iodine["evidence"] == "read"
    assert [(r.customer, r.mass_kg) for r in found.receipts] == [("Southrim Pantry", 60.0)]


def test_cautions_fit_the_leaf(works):
    kelp = " ".join(dossier(works, lot(works, "4131")).cautions)
    tea = " ".join(dossier(works, lot(works, "5303")).cautions)
    assert "crustaceans" in kelp and "Iodine" in kelp and "Blanching is not" in kelp
    assert "Iodine" not in tea and "milk, nuts, gluten" in tea
    for said in (kelp, tea):
        assert said.startswith("Local codes and licensed practice come first")


def test_the_seal_names_every_event_by_its_hash(works):
    found = dossier(works, lot(works, "4133"))
    book = {row.sequence: row.hash for row in works.book.events()}
    assert found.verified.ok
    assert found.sealed
    assert all(book[e.sequence] == e.hash for e in found.sealed)
    assert found.tree_size == len(book)


def test_each_number_names_its_source_and_evidence(works):
    found = dossier(works, lot(works, "4131"))
    assert found.basis
    assert all(b.cite and b.evidence for b in found.basis)
    assert any("sugar_kelp_raw" in b.quantity for b in found.basis)  # before the bath


def test_an_unknown_lot_is_refused(works):
    with pytest.raises(BadInput, match="There is no lot K-0"):
        dossier(works, "K-0")


def test_what_went_elsewhere_is_no_part_of_it_and_the_forecast_stands_beside_what_came(tmp_path):
    made = fresh_works(tmp_path / "works", DEMO / "works.toml")
    works = replace(made, clock=lambda: NOW)
    import_sheets(works, "ilsa", DEMO / "sheets", DEMO / "sheets" / "mapping.toml")
    first, other = split(works, "ilsa", lot(works, "4131"), [100.0, 105.0], meter="quay-scale")
    run_id = start_run(works, "ilsa", "mill-1", [first.lot_id], {"product_um": 2000.0})
    record_reading(works, "ilsa", run_id=run_id, meter="kelp-probe", value=31.0)
    off = Off(99.0, 0.10, "kelp-quick", "kelp-floor-scale")
    flake = finish_run(works, "ilsa", run_id, [off])[0]
    write_off(works, "ilsa", other.lot_id, None, "wet")
    found = dossier(works, flake.lot_id)
    assert [s.stage or s.kind for s in found.steps] == [
        *("wash", "wash", "blanch", "dry", "split", "mill")
    ]
    assert "waste" not in {e.kind for e in found.sealed}
    mill = found.steps[-1]
    assert mill.stage == "mill"
    assert mill.predicted is not None and mill.predicted["mass_out_kg"] > 0.0
    assert [m.quantity for m in found.measured][-1] == "temperature"

    before = dossier(works, flake.lot_id)
    event = works.book.lot(flake.lot_id).made_by
    correct_weights(works, "ilsa", event, "misread", {flake.lot_id: (99.4, 0.10)})
    after = dossier(works, flake.lot_id)
    assert after.steps[-1].made[0].mass_kg == pytest.approx(99.4)
    assert len(after.sealed) == len(before.sealed) + 1
    assert [e.superseded_by for e in after.sealed if e.superseded_by]
    made.book.close()
