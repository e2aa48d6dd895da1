"""Recalls over the demo: nothing missed, nothing counted twice, every gram somewhere."""

from dataclasses import replace
from datetime import timedelta

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.handle_lot import correct
from wareleaf.works.recall import recall
from wareleaf.works.recall_fault import Fault
from wareleaf.works.recall_machine import tail_hours
from wareleaf.works.trace_lot import trace
from wareleaf.works.whereabouts import whereabouts

pytestmark = pytest.mark.slow


def test_every_lot_of_the_demo_adds_up_to_the_gram(demo_works):
    lots = demo_works.book.lots()
    assert len(lots) > 150
    for lot in lots:
        found = recall(demo_works, Fault("lot", lot.lot_id))
        for account in (found.first, found.last):
            assert account.accounted_g + account.unexplained_g == account.total_g == lot.dry_g
        assert found.last.used_on_g == 0
        gaps = sum(m.dry_kg for m in found.missing) * 1000.0
        assert found.last.unexplained_g == pytest.approx(gaps, abs=1.0)


def test_it_agrees_with_the_trace_which_walks_the_genealogy_another_way(demo_works):
    for lot in demo_works.book.lots()[::3]:
        found, view = recall(demo_works, Fault("lot", lot.lot_id)), trace(demo_works, lot.lot_id)
        shares = {a.lot.lot_id: a.share for a in found.lots}
        assert shares == pytest.approx({n.lot_id: n.share for n in view.forward.nodes})
        now = whereabouts(view)
        assert found.last.in_stock_g + found.last.on_machines_g == pytest.approx(
            now.in_stock_kg * 1000.0, abs=2.0
        )
        assert found.last.shipped_g == pytest.approx(now.shipped_kg * 1000.0, abs=2.0)
        kept = sum(r.dry_from_fault_kg - r.returned_dry_kg for r in found.received)
        assert kept == pytest.approx(now.shipped_kg)


def test_a_source_starts_at_its_intakes_of_the_time(demo_works):
    intakes = [
        e for e in demo_works.book.events_in_force(kind="intake") if e.facts["source"] == "line-02"
    ]
    middle = intakes[len(intakes) // 2].happened_at
    found = recall(demo_works, Fault("source", "line-02", since=middle))
    late = [e for e in intakes if e.happened_at >= middle]
    assert 0 < len(late) < len(intakes)
    assert {a.lot.lot_id for a in found.lots if a.level == 0} == {
        m.lot_id for e in late for m in e.outputs
    }
    assert found.last.total_g == sum(m.dry_g for e in late for m in e.outputs)


def test_a_grower_is_all_their_lines(demo_works):
    grower = recall(demo_works, Fault("source", "Brannoch family"))
    lines = [recall(demo_works, Fault("source", k)) for k in ("line-05", "line-11")]
    assert grower.last.total_g == sum(each.last.total_g for each in lines)
    assert {a.lot.lot_id for a in grower.lots} == {a.lot.lot_id for r in lines for a in r.lots}


def test_a_site_is_all_that_was_taken_in_there(demo_works):
    found = recall(demo_works, Fault("source", "Ummerdale tea works"))
    intakes = demo_works.book.events_in_force(kind="intake", site="tea")
    assert {a.lot.lot_id for a in found.lots if a.level == 0} == {
        m.lot_id for e in intakes for m in e.outputs
    }
    assert {a.lot.site for a in found.lots} == {"tea"}


def test_a_film_reaches_what_was_packed_in_it_and_a_batch_only_its_own(demo_works):
    packed = demo_works.book.events_in_force(kind="pack")
    assert len(packed) > 1
    film = packed[0].facts["film"]
    before = recall(demo_works, Fault("film", film))
    assert {a.lot.lot_id for a in before.lots if a.level == 0} == {
        m.lot_id for e in packed if e.facts["film"] == film for m in e.outputs
    }
    facts = {**packed[0].facts, "film_batch": "R-77", "label_batch": "=2+5"}
    correct(demo_works, "ilsa", packed[0].event_id, "the roll was noted", changes={"facts": facts})
    for batch in ("r-77", "=2+5"):
        one = recall(demo_works, Fault("film", batch))
        assert {a.lot.lot_id for a in one.lots if a.level == 0} == {
            m.lot_id for m in packed[0].outputs
        }


def runs_of(works, machine):
    return [r for r in works.book.runs() if r.equipment == machine and r.finished_at]


def test_hours_of_a_dryer_reach_its_runs_and_no_others(demo_works):
    runs = runs_of(demo_works, "belt-1")
    run = runs[len(runs) // 2]
    hours = Fault("machine", "belt-1", run.started_at, run.started_at + timedelta(minutes=1))
    off = demo_works.book.event(run.finished_by).event.outputs
    found = recall(demo_works, hours)
    assert {a.lot.lot_id for a in found.lots if a.level == 0} == {m.lot_id for m in off}
    assert "1 run lay partly outside the time" in found.notes[0]
    whole = recall(demo_works, Fault("machine", "belt-1", run.started_at, run.finished_at))
    assert whole.notes == ()
    assert whole.lots == found.lots


def test_a_bath_carries_over_and_says_so(demo_works):
    run = runs_of(demo_works, "bath-1")[1]
    end = run.started_at + timedelta(minutes=1)
    dry = recall(demo_works, Fault("machine", "bath-1", run.started_at, end, tail_h=0.0))
    wet = recall(demo_works, Fault("machine", "bath-1", run.started_at, end))
    assert {a.lot.lot_id for a in dry.lots} < {a.lot.lot_id for a in wet.lots}
    assert all("still carries" not in note for note in dry.notes)
    assert any("still carries it for 12.8 h" in note for note in wet.notes)
    assert tail_hours(demo_works.settings.equipment_of("bath-1")) == pytest.approx(12.8, abs=0.05)


def test_a_meter_reaches_every_lot_that_names_it(demo_works):
    found = recall(demo_works, Fault("meter", "kelp-balance"))
    named = {
        lot.lot_id
        for lot in demo_works.book.lots()
        if lot.attributes.get("moisture_meter") == "kelp-balance"
    }
    assert named
    assert named <= {a.lot.lot_id for a in found.lots}


def test_a_meter_reaches_what_a_run_made_that_it_was_read_on_even_after_a_correction(demo_works):
    readings = demo_works.book.events_in_force(kind="reading")
    run_id = next(e.facts["run_id"] for e in readings if e.facts.get("method") == "kelp-quick")
    ends = demo_works.book.events_in_force(kind="stage_finished")
    end = next(e for e in ends if e.facts["run_id"] == run_id)
    lot_id = end.outputs[0].lot_id
    before = recall(demo_works, Fault("meter", "kelp-quick"))
    assert lot_id in {a.lot.lot_id for a in before.lots if a.level == 0}
    lighter = replace(end.outputs[0], dry_g=end.outputs[0].dry_g - 7)
    correct(
        demo_works,
        "ilsa",
        end.event_id,
        "misread",
        changes={"outputs": (lighter, *end.outputs[1:])},
    )
    after = recall(demo_works, Fault("meter", "kelp-quick"))
    assert after.last.total_g == before.last.total_g - 7
    assert after.last.accounted_g + after.last.unexplained_g == after.last.total_g


def test_a_laboratory_reaches_what_it_judged(demo_works):
    results = demo_works.book.events_in_force(kind="result")
    own = {e.facts["lot_id"] for e in results if e.facts["laboratory"] == "own bench"}
    found = recall(demo_works, Fault("laboratory", "OWN BENCH"))
    assert own <= {a.lot.lot_id for a in found.lots}


def test_who_received_it_has_contact_and_paper(demo_works):
    sent = demo_works.book.events_in_force(kind="ship")
    assert sent
    first = sent[0].inputs[0].lot_id
    row = recall(demo_works, Fault("lot", first)).received[0]
    assert row.lot_id == first
    assert row.contact
    assert row.document == sent[0].document
    assert row.share == 1.0


def test_as_known_now_is_what_the_book_says(demo_works):
    for fault in (
        Fault("source", "line-02"),
        Fault("machine", "bath-1"),
        Fault("meter", "kelp-quick"),
        Fault("laboratory", "own bench"),
        Fault("lot", demo_works.book.lots()[3].lot_id),
    ):
        found = recall(demo_works, fault)
        folded = recall(demo_works, fault, known_on=demo_works.now())
        same = replace(folded, seconds=found.seconds, known_at=found.known_at, past=found.past)
        assert same == found


def test_as_known_before_a_correction_and_a_shipment(demo_works):
    sent = demo_works.book.events_in_force(kind="ship")[-1]
    fault = Fault("lot", sent.inputs[0].lot_id)
    now = recall(demo_works, fault)
    early = recall(demo_works, fault, known_on=sent.recorded_at - timedelta(seconds=1))
    assert early.past
    assert len(early.received) == len(now.received) - 1
    assert early.last.in_stock_g == now.last.in_stock_g + sent.inputs[0].dry_g
    before = demo_works.now()
    correct(demo_works, "ilsa", sent.event_id, "it never left", void=True)
    assert recall(demo_works, fault, known_on=before).received == now.received
    assert len(recall(demo_works, fault).received) == len(now.received) - 1


def test_a_day_that_has_no_book_is_refused(demo_works):
    fault = Fault("source", "line-02")
    with pytest.raises(BadInput, match="has not come yet"):
        recall(demo_works, fault, known_on=demo_works.now() + timedelta(hours=1))
    with pytest.raises(BadInput, match="had no entry yet"):
        recall(demo_works, fault, known_on=demo_works.now() - timedelta(days=900))
    with pytest.raises(BadInput, match="no time zone"):
        recall(demo_works, fault, known_on=demo_works.now().replace(tzinfo=None))
    with pytest.raises(BadInput, match="There was no lot"):
        last = demo_works.book.lots()[-1]
        recall(demo_works, Fault("lot", last.lot_id), last.made_at - timedelta(days=1))


def test_a_voided_shipment_is_no_longer_with_the_customer(demo_works):
    sent = demo_works.book.events_in_force(kind="ship")[-1]
    lot_id = sent.inputs[0].lot_id
    before = recall(demo_works, Fault("lot", lot_id))
    assert before.last.shipped_g > 0
    correct(demo_works, "ilsa", sent.event_id, "it never left", void=True)
    after = recall(demo_works, Fault("lot", lot_id))
    assert after.last.shipped_g == before.last.shipped_g - sent.inputs[0].dry_g
    assert after.last.accounted_g + after.last.unexplained_g == after.last.total_g
    assert len(after.received) == len(before.received) - 1


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Fault("lot", "K6-9999-99"), "K6-9999-99"),
        (Fault("source", "line-99"), "There is no source 'line-99'"),
        (Fault("machine", "oven-9"), "There is no equipment 'oven-9'"),
        (Fault("meter", "dial"), "There is no meter 'dial'"),
        (Fault("laboratory", "nowhere"), "There is no laboratory 'nowhere'"),
        (Fault("film", "tinfoil"), "There is no film 'tinfoil'"),
        (Fault("lot", " "), "subject is empty"),
        (Fault("machine", "belt-1", tail_h=-1.0), "tail_h is -1.0"),
        (Fault("weather", "rain"), "kind is 'weather'"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(demo_works, fault, said):
    with pytest.raises(BadInput, match=said):
        recall(demo_works, fault)


def test_a_time_that_runs_backward_or_holds_nothing_is_refused(demo_works):
    now = demo_works.now()
    with pytest.raises(BadInput, match="later than the beginning"):
        recall(demo_works, Fault("source", "line-02", now, now))
    with pytest.raises(BadInput, match="No lot is affected"):
        recall(demo_works, Fault("source", "line-02", since=now + timedelta(days=1)))
    with pytest.raises(BadInput, match="no time zone"):
        recall(demo_works, Fault("source", "line-02", since=now.replace(tzinfo=None)))
