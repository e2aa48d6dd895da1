"""Release in the book: what is missing is named, texts are confirmed, only one role signs."""

from importlib import resources
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

from wareleaf.measure import BadInput
from wareleaf.works import bench, handle_lot, release_lot, ship, trace_lot
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


@pytest.fixture
def works(tmp_path):
    return fresh_works(tmp_path / "works", SETTINGS)


@pytest.fixture
def dried(works):
    """A dried lot of blanched kelp's dryer, well under its promise."""
    _, fresh = take_in(
        works, "teo", Load(source="line-11", gross_kg=300.0, tare_kg=0.0, meter="quay-scale")
    )
    run_id = start_run(works, "runa", "belt-1", [fresh.lot_id])
    off = Off(36.0, 0.09, moisture_meter="kelp-oven", scale="kelp-floor-scale")
    return finish_run(works, "runa", run_id, [off])[0]


def iodine(works, lot, value, sd=40.0):
    sample = bench.take_sample(works, "mirel", lot.lot_id, 50)
    found = bench.Found("iodine", value, sd, "mg/kg", "dry")
    bench.record_result(works, "mirel", lot.lot_id, sample, found)


def confirm_all(works, lot, market):
    for line in release_lot.assess(works, lot.lot_id, market).lines:
        if line.needs_confirmation:
            release_lot.confirm_limit(works, "bex", line.limit.id, "invented text, for this test")


def test_without_a_result_nothing_is_released_and_the_missing_one_is_named(works, dried):
    before = len(works.book.events())
    with pytest.raises(BadInput, match="no result for iodine"):
        release_lot.release(works, "bex", dried.lot_id, ["AU"])
    assert len(works.book.events()) == before


def test_one_lot_may_go_to_one_market_and_not_to_another(works, dried):
    """Australia's 1000 mg iodine per kg dry weight was read (limits.csv); France only advises."""
    iodine(works, dried, 1500.0)
    confirm_all(works, dried, "FR")
    verdict = release_lot.assess(works, dried.lot_id, "AU")
    assert not verdict.may_release
    line = next(x for x in verdict.lines if x.limit.parameter == "iodine" and x.limit.legal)
    assert line.status.value == "does_not_conform"
    assert line.probability < 0.01


def test_only_the_quality_manager_signs_and_confirms(works, dried):
    with pytest.raises(BadInput, match="may not release a lot"):
        release_lot.release(works, "ilsa", dried.lot_id, ["AU"])
    with pytest.raises(BadInput, match="may not confirm a limit"):
        release_lot.confirm_limit(works, "ilsa", "anything", "I read it somewhere")


def test_a_market_that_the_table_is_silent_on_can_be_confirmed(works):
    event = release_lot.confirm_limit(
        works, "bex", "AU-nothing-listed-tea", "looked through the code for this test"
    )
    assert event.facts["limit_id"] == "AU-nothing-listed-tea"
    with pytest.raises(BadInput, match="no limit"):
        release_lot.confirm_limit(works, "bex", "XX-nothing", "nothing")


def test_an_unknown_market_lists_the_known_ones(works, dried):
    with pytest.raises(BadInput, match="AU"):
        release_lot.assess(works, dried.lot_id, "Atlantis")


def test_a_corrected_result_counts_as_corrected_and_a_corrected_shipment_is_still_traced(
    works, dried
):
    iodine(works, dried, 9900.0)
    event = works.book.events(kind="result")[0].event
    facts = {**event.facts, "value": 400.0}
    handle_lot.correct(works, "bex", event.event_id, "a digit too many", changes={"facts": facts})
    values = [r.value for _, r, _ in bench.results_of(works, dried.lot_id)]
    assert values == [400.0]
    sample = bench.take_sample(works, "mirel", dried.lot_id, 50)
    found = bench.Found("inorganic_arsenic", 0.2, 0.02, "mg/kg", "dry")
    bench.record_result(works, "mirel", dried.lot_id, sample, found)
    confirm_all(works, dried, "AU")
    release_lot.release(works, "bex", dried.lot_id, ["AU"])
    sent = ship.ship(works, "jorun", "southrim", {dried.lot_id: 10.0}, document="D1")
    handle_lot.correct(
        works, "ilsa", sent.event_id, "wrong delivery note", changes={"document": "D2"}
    )
    receipts = trace_lot.trace(works, dried.lot_id).receipts
    assert [(r.customer, r.document) for r in receipts] == [("Southrim Pantry", "D2")]


def test_a_correction_is_no_way_round_the_quality_manager(works, dried):
    event = release_lot.confirm_limit(works, "bex", "AU-nothing-listed-tea", "looked it up")
    with pytest.raises(BadInput, match="may not confirm a limit"):
        handle_lot.correct(works, "ilsa", event.event_id, "tidy up", void=True)
    with pytest.raises(BadInput, match="sign again"):
        handle_lot.correct(
            works, "bex", event.event_id, "more", changes={"facts": {**event.facts, "text": "x"}}
        )
    handle_lot.correct(works, "bex", event.event_id, "was the wrong code", void=True)
    assert release_lot.confirmations(works) == []
