"""The book in a database: what goes in comes out, what is asked is answered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
import sqlalchemy as sa
from tests.book.book_makers import (
    NOW,
    at,
    correction,
    event,
    finish,
    hold,
    intake,
    made,
    release,
    ship,
    split,
    start,
)

from wareleaf import book
from wareleaf.measure import BadInput
from wareleaf.store import last_seen

DAY = [
    intake("e1", "K1", 1_000_000, 100_000, mass_sd_g=500.0, dry_sd_g=2000.0),
    intake("e2", "K2", 500_000, 50_000, minute=5),
    start("e3", "R1", ["K1"], minute=20),
    finish(
        "e4",
        "R1",
        [("K1", 1_000_000, 100_000)],
        [made("D1", 110_000, 99_000, form="dried", attributes={"grade": "A"})],
        [("water", 889_500, 0), ("dust", 500, 500)],
        minute=200,
    ),
    hold("e5", "K2", minute=210),
    release("e6", "D1", ["north"], minute=220),
    ship("e7", [("D1", 60_000, 54_000)], minute=400),
    event("e8", "intake", 410, site="glen", outputs=[made("T1", 9000, 2000)]),
]


@pytest.fixture
def full(kept):
    kept.append_many(DAY, now=NOW)
    return kept


def test_events_come_back_as_they_were_recorded(full):
    back = full.events()
    assert [r.event for r in back] == DAY
    assert [r.sequence for r in back] == list(range(1, 9))
    previous = book.GENESIS
    for r in back:
        previous = book.event_hash(previous, r.event)
        assert r.hash == previous


def test_the_lots_are_those_of_a_fold(full):
    fresh = book.fold(DAY)
    assert {x.lot_id: x for x in full.lots()} == fresh.lots
    assert {x.run_id: x for x in full.runs()} == fresh.runs
    assert full.verify().ok


def test_a_receipt_names_the_place_in_the_chain(kept):
    receipts = [kept.append(e, now=NOW) for e in DAY[:3]]
    assert [r.sequence for r in receipts] == [1, 2, 3]
    assert receipts[2].hash == kept.events()[2].hash
    assert kept.event("e2").event == DAY[1]


def test_an_empty_id_is_filled(kept):
    receipt = kept.append(replace(DAY[0], event_id=""), now=NOW)
    assert receipt.event_id == "E000001"
    assert kept.lot("K1").made_by == "E000001"


def test_events_are_found_by_kind_time_lot_and_site(full):
    def ids(**wanted):
        return [r.event.event_id for r in full.events(**wanted)]

    assert ids(kind="intake") == ["e1", "e2", "e8"]
    assert ids(kind=("hold", "release")) == ["e5", "e6"]
    assert ids(since=at(20), until=at(210)) == ["e3", "e4"]
    assert ids(lot_id="D1") == ["e4", "e6", "e7"]
    assert ids(lot_id="K1") == ["e1", "e3", "e4"]
    assert ids(site="glen") == ["e8"]
    assert ids(newest_first=True, limit=2) == ["e8", "e7"]


def test_lots_are_found_by_site_form_status_and_place(full):
    def ids(**wanted):
        return [x.lot_id for x in full.lots(**wanted)]

    assert ids(site="skerry", in_stock_only=True) == ["K2", "D1"]
    assert ids(status="held") == ["K2"]
    assert ids(status=["used", "released"]) == ["K1", "D1"]
    assert ids(form="dried") == ["D1"]
    assert ids(place="quay", site="glen") == ["T1"]
    assert ids(ids=["T1", "K1", "none"]) == ["K1", "T1"]
    assert ids(leaf="tea_black") == []
    assert full.lot("D1").attributes == {"grade": "A"}
    with pytest.raises(BadInput, match="no lot K7"):
        full.lot("K7")


def test_runs_that_are_open(full):
    assert full.runs(open_only=True) == []
    full.append(start("e9", "R2", ["T1"], minute=420, site="glen"), now=NOW)
    assert [r.run_id for r in full.runs(site="glen", open_only=True)] == ["R2"]
    assert full.lot("T1").on_runs == ("R2",)


def test_a_trace_through_the_database(full):
    pack = event(
        "p",
        "blend",
        430,
        inputs=[("D1", 50_000, 45_000), ("T1", 9000, 2000)],
        outputs=[made("B", 58_900, 46_900)],
    )
    full.append(pack, now=NOW)
    back = full.trace_back("B")
    assert {n.lot_id: round(n.share, 6) for n in back.ends} == {
        "K1": round(45 / 47, 6),
        "T1": round(2 / 47, 6),
    }
    forward = full.trace_forward("K1")
    assert [n.lot_id for n in forward.nodes] == ["K1", "D1", "B"]
    assert forward.node("B").dry_g == pytest.approx(46_900 * 45 / 47)


def test_a_hold_that_came_late_is_found_above_the_lot(full):
    assert full.held_above("D1") == []
    full.append(hold("h", "K1", "iodine", minute=420), now=NOW)
    assert full.lot("K1").status == "used"
    assert full.lot("D1").status == "released", "made before the hold"
    assert [x.held_because for x in full.held_above("D1")] == ["iodine"]


def test_the_balance_of_a_day_from_the_database(full):
    day = full.balance(at(0), at(1440))
    assert day == book.balance(DAY, book.fold(DAY).lots, at(0), at(1440))
    assert day.dry.unexplained_g == 500
    assert full.balance(at(0), at(1440), "glen").mass.taken_in_g == 9000
    assert full.unbalanced(at(0), at(1440)) == []


def test_a_correction_supersedes_and_both_stay(full):
    fix = correction(
        "c1",
        "e2",
        happened=5,
        outputs=[made("K2", 450_000, 45_000)],
        facts={"reason": "tare forgotten"},
    )
    full.append(fix, now=NOW)
    assert full.lot("K2").mass_g == 450_000
    assert full.lot("K2").status == "held"
    old = full.event("e2")
    assert (old.superseded_by, old.event.outputs[0].mass_g) == ("c1", 500_000)
    assert "e2" in [e.event_id for e in full.events_in_force(kind="intake")]
    assert full.balance(at(0), at(1440)).mass.taken_in_g == 1_000_000 + 450_000 + 9000
    assert full.verify().ok
    full.append(correction("c2", "e8", minute=501, void=True), now=NOW)
    assert [x.lot_id for x in full.lots(site="glen")] == []
    assert [e.event_id for e in full.events_in_force(kind="intake")] == ["e1", "e2"]
    assert full.verify().ok


def test_the_book_as_it_was_known_then(full):
    fix = correction("c1", "e2", minute=500, happened=5, outputs=[made("K2", 450_000, 45_000)])
    full.append(fix, now=NOW)
    assert full.as_known_at(at(499)).lots["K2"].mass_g == 500_000
    assert full.as_known_at(at(500)).lots["K2"].mass_g == 450_000
    assert full.as_known_at(at(205)).lots["K2"].status == "open"
    assert set(full.as_known_at(at(0)).lots) == {"K1"}


def test_recorded_time_never_runs_backward(kept):
    kept.append(intake("a", "A", minute=100), now=NOW)
    late = kept.append(intake("b", "B", minute=50), now=NOW)  # a clock that was set back
    assert late.recorded_at == at(100)
    assert kept.event("b").event.happened_at == at(50)
    assert set(kept.as_known_at(at(99)).lots) == set()
    assert kept.verify().ok


def test_a_clock_that_was_set_back_refuses_nothing(kept):
    kept.append(intake("a", "A", minute=100), now=at(100))
    done = kept.append(intake("b", "B", minute=40), now=at(40))
    assert done.recorded_at == at(100)
    kept.append(intake("c", "C", minute=41, happened_at=at(99)), now=at(99))  # by hand, on paper
    with pytest.raises(BadInput, match="in the future"):
        kept.append(intake("d", "D", minute=101), now=at(42))
    assert kept.last_recorded() == at(100)
    assert kept.verify().ok


def test_many_are_all_or_nothing(kept):
    bad = [*DAY, split("x", "K2", {"N": (600_000, 60_000)}, minute=500)]
    with pytest.raises(BadInput, match="500 kg remain"):
        kept.append_many(bad, now=NOW)
    assert kept.events() == []
    assert kept.lots() == []
    assert kept.verify().events == 0


def test_many_can_hold_corrections_between_other_events(kept):
    fix = correction("c1", "e2", minute=411, happened=5, outputs=[made("K2", 450_000, 45_000)])
    after = event("z", "waste", 420, inputs=[("K2", 450_000, 45_000)])
    told = []
    kept.append_many([*DAY, fix, after], now=NOW, progress=told.append)
    assert told[-1] == 10
    assert kept.lot("K2").status == "used"
    assert kept.verify().ok


def test_an_event_id_comes_once(full):
    for again in (DAY[0].event_id, "new"):
        with pytest.raises(BadInput, match="already used"):
            full.append_many(
                [intake("new", "N1", minute=411), intake(again, "N2", minute=411)], now=NOW
            )
    assert len(full.events()) == 8


def test_a_corrected_shipment_cannot_slip_past_the_release(full):
    full.append(intake("e9", "D2", 1000, 900, minute=420), now=NOW)
    swap = correction(
        "c1",
        "e7",
        happened=425,
        inputs=[("D2", 1000, 900)],
        facts={"customer": "x", "market": "north"},
    )
    with pytest.raises(BadInput, match="D2 cannot ship to north"):
        full.append(swap, now=NOW)
    less = correction(
        "c1",
        "e7",
        happened=400,
        inputs=[("D1", 50_000, 45_000)],
        facts={"customer": "x", "market": "north"},
    )
    full.append(less, now=NOW)
    assert full.lot("D1").shipped_mass_g == 50_000


def test_people_settings_and_ids(kept):
    kept.set_person("ada", "Ada Skerry", "operator", "hash")
    kept.set_person("bo", "Bo Glen", "quality_manager")
    kept.set_person("ada", "Ada Skerry", "manager", "hash2")
    assert [(p.person_id, p.role) for p in kept.people()] == [
        ("ada", "manager"),
        ("bo", "quality_manager"),
    ]
    kept.set_person("bo", "Bo Glen", "quality_manager", active=False)
    assert [p.person_id for p in kept.people()] == ["ada"]
    assert kept.person("bo").active is False
    with pytest.raises(BadInput, match="role is 'captain'; it must be one of manager"):
        kept.set_person("cy", "Cy", "captain")
    with pytest.raises(BadInput, match="no person cy"):
        kept.person("cy")
    kept.settings_put("markets", {"north": ["iodine"]})
    assert kept.settings_get("markets") == {"north": ["iodine"]}
    assert kept.settings_get("nothing", 7) == 7


def test_ids_are_short_and_never_come_twice(kept):
    day = date(2026, 4, 12)
    assert [kept.next_id("K", day) for _ in range(2)] == ["K6-1204-01", "K6-1204-02"]
    assert kept.next_id("T", day) == "T6-1204-01"
    kept.append(intake("a", "K6-1204-03"), now=NOW)
    assert kept.next_ids("K", [day, day + timedelta(days=1), day.replace(year=2036)]) == [
        "K6-1204-04",
        "K6-1304-01",
        "K6-1204-05",
    ]
    with pytest.raises(BadInput, match="letters and digits"):
        kept.next_id("K/", day)


def test_the_tree_root_is_that_of_the_canonical_bodies(full):
    leaves = [book.tree.leaf_hash(book.canonical_json(e)) for e in DAY]
    assert full.tree_root() == (8, book.tree.root(leaves).hex())
    assert full.tree_root(3) == (3, book.tree.root(leaves[:3]).hex())


@pytest.mark.parametrize("change", ["UPDATE event SET site = 'x'", "DELETE FROM event"])
def test_the_database_itself_refuses_to_change_an_event(full, change):
    with pytest.raises(sa.exc.DBAPIError, match="events are never changed"):  # noqa: SIM117
        with full.engine.begin() as connection:
            connection.execute(sa.text(change))
    assert full.verify().ok


def tamper(opened, *statements):
    with opened.engine.begin() as connection:
        if connection.dialect.name == "sqlite":
            for name in ("event_no_update", "event_no_delete"):
                connection.execute(sa.text(f"DROP TRIGGER IF EXISTS {name}"))
            connection.execute(sa.text("PRAGMA defer_foreign_keys = ON"))
        else:
            connection.execute(sa.text("DROP TRIGGER IF EXISTS event_no_change ON event"))
            connection.execute(sa.text("ALTER TABLE touch DROP CONSTRAINT touch_sequence_fkey"))
        for statement in statements:
            connection.execute(sa.text(statement))


@pytest.mark.parametrize(
    ("statements", "sequence", "words"),
    [
        (["UPDATE event SET body = replace(body, '54', '53') WHERE sequence = 7"], 7, "changed"),
        (["UPDATE event SET hash = repeat_me WHERE sequence = 3"], 3, "changed"),
        (["UPDATE event SET prev_hash = repeat_me WHERE sequence = 4"], 4, "does not follow"),
        (["UPDATE event SET site = 'glen' WHERE sequence = 2"], 2, "index of event 2"),
        (["UPDATE event SET kind = 'note' WHERE sequence = 5"], 5, "index of event 5"),
        (["UPDATE event SET happened_us = 1 WHERE sequence = 6"], 6, "index of event 6"),
        (
            ["DELETE FROM touch WHERE sequence = 5", "DELETE FROM event WHERE sequence = 5"],
            5,
            "Event 5 is missing",
        ),
        (["UPDATE lot SET mass_g = mass_g + 1 WHERE lot_id = 'D1'"], None, "see D1"),
        (["DELETE FROM lot WHERE lot_id = 'T1'"], None, "see T1"),
        (["UPDATE edge SET share = 0.5"], None, "see D1 from K1"),
        (["DELETE FROM run"], None, "see R1"),
        (["UPDATE lot SET held_because = '' WHERE lot_id = 'K2'"], None, "see K2"),
    ],
)  # fmt: skip
def test_any_change_is_found_and_pinned(full, statements, sequence, words):
    tamper(full, *(s.replace("repeat_me", f"'{'ab' * 32}'") for s in statements))
    report = full.verify()
    assert not report.ok
    assert report.first_bad_sequence == sequence
    assert words in report.message


def test_a_shortened_book_shows_only_against_a_hash_kept_elsewhere(full):
    kept_elsewhere = full.verify().head_hash
    tamper(full, "DELETE FROM touch WHERE sequence = 8", "DELETE FROM event WHERE sequence = 8",
           "DELETE FROM lot WHERE lot_id = 'T1'")  # fmt: skip
    path = last_seen.path_of(full.engine)
    if path is not None:  # beside a file stands what was acknowledged; a forger takes that too
        assert "ends at event 7, but event 8 was acknowledged" in full.verify().message
        last_seen.beside(path).unlink()
    report = full.verify()
    assert report.ok, "the chain alone cannot know that something followed"
    assert report.head_hash != kept_elsewhere
