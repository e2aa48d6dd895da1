"""A correction folds again only what it can change, and that equals a fold of the whole book."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from tests.book.book_makers import NOW, at, correction, event, hold, intake, made, start
from tests.book.test_book_conservation import KINDS, SSCC, next_event, somewhere_once

from wareleaf import book, store
from wareleaf.book.pallet_rules import PalletWatch
from wareleaf.measure import BadInput
from wareleaf.store import queries, refolding

AROUND = ["receive_back", "receive_back", "rework", "aggregate", "disaggregate", "grade"]
Q = "340123450000000024"  # by hand: 3 x (3+0+2+4+0+0+0+0+2) + (4+1+3+5) = 46, to 50 is 4
USUAL = [*KINDS[:11], *AROUND, "pack", "pack", "note", "reading", "pallet"]
PALLETS = ["intake", "release", "release", "pack", "pack", "pack", "sample", "ship"]
PALLETS += ["aggregate", "aggregate", "aggregate", "aggregate", "disaggregate", "pallet", "pallet"]
ASKED_ANEW = ("on hold", "cannot ship")  # of what a correction brings in, beyond the fold


def any_correction(chance, n, events, state):
    """A correction of some event: masses, time, lots, run or facts changed, or void, or unvoid."""
    newest = {}
    for e in events:
        if e.kind == "correction":
            newest[e.corrects] = e.event_id
    original = chance.choice([e for e in events if e.kind != "correction"])
    last = original.event_id
    while last in newest:
        last = newest[last]
    if chance.random() < 0.2:
        return correction(f"c{n}", last, minute=n, happened=0, void=True)
    force = {e.event_id: e for e in state.events}
    old = force.get(original.event_id, original)
    facts, inputs, outputs = dict(old.facts), list(old.inputs), list(old.outputs)
    lots = sorted(state.lots)
    how = chance.choice(["mass", "lots", "facts", "more", "nothing", "time"])
    if how == "mass":
        outputs = [replace(m, mass_g=max(m.dry_g, m.mass_g * chance.randint(50, 120) // 100, 1))
                   for m in outputs]  # fmt: skip
    if how == "lots" and inputs:
        one = chance.randrange(len(inputs))
        inputs[one] = replace(inputs[one], lot_id=chance.choice(lots))
    if how == "more" and outputs:
        first = outputs[0]
        outputs = [first, replace(first, lot_id=f"M{n}", mass_g=3, dry_g=1)]
    if how == "facts":
        for name, value in (
            ("lot_id", chance.choice(lots)),
            ("lots", [chance.choice(lots)]),
            ("markets", chance.choice([["m"], ["n"], ["m", "n"]])),
            ("run_id", chance.choice(sorted(state.runs) or ["R"])),
            ("moved_to", f"bay {n}"),
        ):
            if name in facts and chance.random() < 0.7:
                facts[name] = value
    if "sscc" in facts:
        facts["sscc"] = chance.choice([SSCC, Q])
        facts["lots"] = [
            {"lot_id": chance.choice([x["lot_id"], *lots]),
             "mass_g": max(x["mass_g"] * chance.randint(50, 200) // 100, 1)}
            for x in old.facts["lots"]]  # fmt: skip
    minute = (old.happened_at - at(0)).total_seconds() / 60
    if how == "time":
        minute = max(minute + chance.randint(-9, 9), -1)
    return correction(
        f"c{n}",
        last,
        minute=max(n, minute),
        happened=minute,
        facts=facts,
        inputs=[(d.lot_id, d.mass_g, d.dry_g) for d in inputs],
        outputs=outputs,
        streams=[(s.name, s.mass_g, s.dry_g) for s in old.streams],
    )


def plain_event(chance, n, state, kinds):
    """As the random histories of the book, with packs (which take a release over) and notes."""
    kind = chance.choice(kinds)
    stock = sorted(k for k, x in state.lots.items() if x.remaining_mass_g > 0)
    if kind in ("note", "reading") and stock:
        facts = {"lot_id": chance.choice(stock), "moved_to": "loft"}
        if kind == "reading":
            facts = {"quantity": "moisture", "value": 1, "standard_uncertainty": 0, "unit": "1"}
            facts["run_id"] = chance.choice(sorted(state.runs) or ["R"])
        return replace(correction(f"e{n}", "", minute=n), kind=kind, facts=facts)
    if kind == "pack":
        kind = "split"
        made = next_event(kind, n, state, chance.randrange(2**30), chance.randint(1, 100), 0)
        facts = {"film": "f", "nominal_g": 5}
        packs = made and tuple(replace(m, form="packed") for m in made.outputs)
        return made and replace(made, kind="pack", facts=facts, outputs=packs)
    if kind == "pallet":
        on_it = [x for x in state.lots.values() if SSCC in x.pallets]
        draws = [(x.lot_id, x.pallets[SSCC], 0) for x in on_it if x.remaining_mass_g]
        facts = {"customer": "c", "market": "m", "pallets": [SSCC]}
        return event(f"e{n}", "ship", n, inputs=draws, facts=facts) if draws else None
    return next_event(kind, n, state, chance.randrange(2**30), chance.randint(1, 100),
                      chance.randint(-8, 8))  # fmt: skip


def tables(opened):
    with opened.engine.connect() as connection:
        edges = connection.execute(refolding.schema.edge.select()).all()
        runs = queries.runs(connection, site=None, open_only=False, ids=None)
    return {x.lot_id: x for x in opened.lots()}, {r.run_id: r for r in runs}, sorted(edges)


def take_or_refuse(opened, events, state, new, seen):
    """Record one event; the book after it, or None where both ways refuse it, in the same words."""
    try:
        if new.kind != "correction":
            book.check(new, state.lots, NOW, state.runs)
        now, was = PalletWatch(), PalletWatch()
        after = book.fold([*events, new], pallets=now)
        book.fold(events, pallets=was)
        now.refuse_more_than(was)
    except BadInput as error:
        with pytest.raises(BadInput) as refused:
            opened.append(new, now=NOW)
        if not any(words in str(refused.value) for words in ASKED_ANEW):
            assert str(refused.value) == str(error)
            seen["pallet"] += new.kind == "correction" and "pallet" in str(error)
        return None
    try:
        opened.append(new, now=NOW)
    except BadInput as error:
        assert any(words in str(error) for words in ASKED_ANEW), error
        return None
    return after


def run_history(place, seed, steps, kinds=USUAL):
    """Random events and corrections, compared with a fold of everything after each correction."""
    chance = random.Random(seed)
    seen = dict.fromkeys(("near", "whole", "refused", "pallet"), 0)
    with store.open_book(place) as opened:
        events, state = [], book.fold([])
        for n in range(steps):
            fix = len(events) > 5 and chance.random() < 0.4
            if fix:
                new = any_correction(chance, n, events, state)
            else:
                new = plain_event(chance, n, state, kinds)
            if new is None:
                continue
            with near_or_whole(seen if fix else None):
                after = take_or_refuse(opened, events, state, new, seen)
            if after is None:
                seen["refused"] += fix
                continue
            events, state = [*events, new], after
            if fix:
                lots, runs, edges = tables(opened)
                assert lots == state.lots
                assert runs == state.runs
                assert edges == sorted(
                    tuple(x[i] for i in (1, 0, 2, 3, 4, 5, 6))
                    for e in state.events for x in book.edges_of(e)
                )  # fmt: skip
                assert somewhere_once(state, 0) == somewhere_once(state, 1) == 0
        assert opened.verify().ok
    return seen


class near_or_whole:
    """Counts which way a correction was folded."""

    def __init__(self, seen):
        self.seen = seen

    def __enter__(self):
        self.patch = pytest.MonkeyPatch()
        plain = refolding.refold

        def counted(*args):
            found = plain(*args)
            if self.seen is not None:
                self.seen["whole" if found is None else "near"] += 1
            return found

        self.patch.setattr(refolding, "refold", counted)

    def __exit__(self, *_):
        self.patch.undo()


@pytest.mark.slow
def test_any_correction_equals_a_fold_of_the_whole(tmp_path):
    """Seeded, so that it takes the same time each day; all three ends are met."""
    seen = [run_history(tmp_path / f"{n}.db", n, 40) for n in range(14)]
    total = {k: sum(s[k] for s in seen) for k in seen[0]}
    assert total["near"] >= 50
    assert total["whole"] >= 1
    assert total["refused"] >= 10


@pytest.mark.slow
def test_pallet_rules_refuse_a_correction_near_it_as_on_the_whole(tmp_path):
    """Histories that are mostly about pallets; the same words either way."""
    seen = [run_history(tmp_path / f"{n}.db", n, 60, PALLETS) for n in range(8)]
    total = {k: sum(s[k] for s in seen) for k in seen[0]}
    assert total["near"] >= 20
    assert total["pallet"] >= 5


@pytest.mark.slow
@pytest.mark.postgres
def test_the_same_on_postgres(postgres):
    assert sum(run_history(postgres.new_database(), n, 40)["near"] for n in (2, 3)) >= 5


def test_near_a_draw_on_a_lot_recorded_later_the_whole_is_folded(kept):
    """There events fold in another order: x draws from K1 after z, which was recorded later."""
    later = intake("i2", "K2", 1000, 100, minute=1, recorded_at=at(9))
    events = [
        intake("i1", "K1", 1000, 100, minute=0),
        intake("i3", "K3", 1000, 100, minute=0),
        event("x", "combine", 5, inputs=[("K1", 10, 1), ("K3", 10, 1)], outputs=[made("X", 20, 2)]),
        event("z", "combine", 8, inputs=[("K1", 10, 1)], outputs=[made("Z", 10, 1)]),
        later,
        correction("c1", "x", 20, happened=5, inputs=[("K1", 10, 1), ("K2", 10, 1)],
                   outputs=[made("X", 20, 2)]),
        correction("c2", "i1", 21, happened=0, outputs=[made("K1", 900, 90)]),
    ]  # fmt: skip
    seen = {"near": 0, "whole": 0}
    with near_or_whole(seen):
        kept.append_many(events, now=NOW)
    assert seen == {"near": 0, "whole": 2}
    assert kept.lot("K1").last_drawn_by == "x"
    assert kept.verify().ok


def test_a_hold_reaches_through_a_correction_only_what_it_changes(kept):
    """Voiding the hold of a source frees its dried lot; a lot held on its own account stays."""
    kept.append_many(
        [
            intake("i1", "K1", 1000, 100, minute=0),
            intake("i2", "K2", 1000, 100, minute=0),
            hold("h1", "K1", "oil", 1),
            event("x", "combine", 5, inputs=[("K1", 10, 1)], outputs=[made("X", 10, 1)]),
            event("y", "combine", 6, inputs=[("X", 5, 1), ("K2", 5, 1)], outputs=[made("Y", 9, 2)]),
            hold("h2", "Y", "sand", 7),
            event("z", "split", 8, inputs=[("Y", 4, 1)], outputs=[made("Z", 4, 1)]),
        ],
        now=NOW,
    )
    assert kept.lot("X").held_because == "made from held lot K1: oil"
    seen = {"near": 0, "whole": 0}
    with near_or_whole(seen):
        kept.append(correction("c", "h1", 20, void=True), now=NOW)
    assert seen == {"near": 1, "whole": 0}
    assert [kept.lot(k).held_because for k in ("K1", "X", "Y", "Z")] == [
        "", "", "sand", "made from held lot Y: sand"
    ]  # fmt: skip
    assert kept.verify().ok


def test_a_corrected_start_is_in_the_history_of_its_lots(kept):
    kept.append_many(
        [
            intake("i1", "K1", minute=0),
            intake("i2", "K2", minute=0),
            start("s", "R", ["K1"], 20),
            correction("c", "s", 30, happened=20, facts=start("", "R", ["K2"]).facts),
        ],
        now=NOW,
    )
    assert (kept.lot("K1").on_runs, kept.lot("K2").on_runs) == ((), ("R",))
    assert [e.event_id for e in kept.events_in_force(lot_id="K2")] == ["i2", "s"]
    assert kept.verify().ok


def stacked():
    """K and L, 500 g of packs each, for sale; 300 g of both on a pallet, 100 g of K on Q."""

    def on(event_id, sscc, minute, **grams):
        items = [{"lot_id": k, "mass_g": g} for k, g in grams.items()]
        return event(event_id, "aggregate", minute, facts={"sscc": sscc, "lots": items})

    packs = [made(k, 500, 450, form="packed") for k in "KL"]
    free = [event(f"r{k}", "release", 1, facts={"lot_id": k, "markets": ["m"]}) for k in ("K", "L")]
    return [event("i", "intake", 0, outputs=packs), *free, on("a", SSCC, 2, K=300, L=300),
            on("b", Q, 3, K=100)]  # fmt: skip


def sold(*draws, pallets=(SSCC,), minute=5):
    facts = {"customer": "c", "market": "m", "pallets": list(pallets)}
    return event("s", "ship", minute, inputs=draws, facts=facts)


BOTH = (("K", 300, 270), ("L", 300, 270))


@pytest.mark.parametrize(
    ("of", "changed", "words"),
    [
        ("a", {"facts": {"sscc": SSCC, "lots": [{"lot_id": "K", "mass_g": 450}]}},
         "the aggregate b would no longer hold: 0.1 kg of lot K would go on pallet"),
        ("a", {"void": True}, "ship s would no longer hold: Nothing stands on pallet"),
        ("b", {"facts": {"sscc": SSCC, "lots": [{"lot_id": "K", "mass_g": 100}]}},
         "ship s would no longer hold: 0.4 kg of lot K stand on what is shipped"),
        ("b", {"facts": {"sscc": Q, "lots": [{"lot_id": "F", "mass_g": 10}]}},
         "aggregate b would no longer hold: Lot F is fresh; only packed lots"),
        ("s", {"inputs": BOTH[:1]}, "0.3 kg of lot L stand on pallet .* not on the shipment"),
        ("s", {"facts": {"customer": "c", "market": "m", "pallets": [SSCC, Q]}},
         "0.4 kg of lot K stand on what is shipped and 0.3 kg are asked"),
        ("s", {"facts": {"customer": "c", "market": "m"}}, "take it off pallet"),
        ("i", {"outputs": [made("K", 380, 342, form="packed"),
                           made("L", 500, 450, form="packed")]},
         "the aggregate b would no longer hold: 0.1 kg of lot K would go on pallet"),
    ],
)  # fmt: skip
def test_a_correction_obeys_the_rules_of_pallets(kept, of, changed, words):
    """It is refused, the entry that contradicts it is named, and nothing is written."""
    kept.append_many([*stacked(), intake("f", "F", minute=1), sold(*BOTH)], now=NOW)
    stood = next(e for e in kept.events_in_force() if e.event_id == of)
    more = {"facts": dict(stood.facts), "outputs": stood.outputs,
            "inputs": [(d.lot_id, d.mass_g, d.dry_g) for d in stood.inputs]}  # fmt: skip
    if changed.get("void"):
        more = {}
    minute = (stood.happened_at - at(0)).total_seconds() / 60
    before = tables(kept)
    with pytest.raises(BadInput, match=words):
        kept.append(correction("c", of, 30, happened=minute, **{**more, **changed}), now=NOW)
    assert tables(kept) == before
    assert kept.verify().ok


def test_a_shipment_of_a_pallet_takes_all_that_stands_on_it(kept):
    kept.append_many(stacked(), now=NOW)
    with pytest.raises(BadInput, match=r"of lot L stand on pallet .* not on the shipment"):
        kept.append(sold(BOTH[0]), now=NOW)
    kept.append(sold(*BOTH), now=NOW)
    assert (kept.lot("K").pallets, kept.lot("L").pallets) == ({Q: 100}, {})


def test_what_an_older_book_broke_refuses_no_other_correction(kept, monkeypatch):
    """A book from before the rule: K left the pallet without L. Its weight is corrected still."""
    with monkeypatch.context() as before:
        before.setattr("wareleaf.book.checks.check_pallets", lambda *_: None)
        kept.append_many([*stacked(), sold(BOTH[0])], now=NOW)
    packs = [made("K", 505, 455, form="packed"), made("L", 500, 450, form="packed")]
    kept.append(correction("c", "i", 30, happened=0, outputs=packs), now=NOW)
    assert kept.lot("K").mass_g == 505
    assert kept.verify().ok
