"""A correction stands in the place of what it corrects; both stay; what does not fit is refused."""

from __future__ import annotations

import pytest
from tests.book.book_makers import (
    correction,
    event,
    finish,
    hold,
    intake,
    made,
    split,
    start,
)

from wareleaf import book
from wareleaf.measure import BadInput

DAY = [
    intake("i", "K", 1000, 100),
    split("s", "K", {"A": (400, 40), "B": (600, 60)}),
    event("b", "blend", 30, inputs=[("A", 400, 40)], outputs=[made("X", 400, 40)]),
]


def corrected(*more, base=None):
    return book.fold([*(base or DAY), *more])


def test_a_weight_is_put_right_and_all_is_derived_again():
    fixed = split("s", "K", {"A": (450, 45), "B": (550, 55)})
    right = correction("c", "s", happened=10, inputs=[("K", 1000, 100)], outputs=fixed.outputs)
    after = corrected(right)
    assert (after.lots["A"].mass_g, after.lots["B"].mass_g) == (450, 550)
    assert after.lots["A"].remaining_mass_g == 50
    assert after.lots["A"].made_by == "s", "the event keeps its own id"
    assert after.superseded_by == {"s": "c"}
    assert [e.event_id for e in after.events] == ["i", "s", "b"]


def test_a_correction_can_be_corrected_and_only_the_newest():
    first = correction("c1", "i", happened=0, outputs=[made("K", 1100, 110)])
    second = correction("c2", "c1", happened=0, outputs=[made("K", 1200, 120)])
    assert corrected(first, second).lots["K"].mass_g == 1200
    with pytest.raises(BadInput, match="Event i was already corrected by c1; correct that one"):
        corrected(first, correction("c2", "i", happened=0, outputs=[made("K", 1, 1)]))


def test_a_void_takes_the_event_out():
    after = corrected(correction("c", "b", void=True))
    assert "X" not in after.lots
    assert after.lots["A"].remaining_mass_g == 400


def test_a_void_can_be_taken_back():
    void = correction("c", "b", void=True)
    back = correction("d", "c", happened=30, inputs=[("A", 400, 40)], outputs=[made("X", 399, 40)])
    assert corrected(void, back).lots["X"].mass_g == 399


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (correction("c", "i", void=True), "the split s would no longer hold: There is no lot K"),
        (
            correction("c", "i", happened=0, outputs=[made("K", 900, 90)]),
            "the split s would no longer hold: Lot K would be used twice over",
        ),
        (
            correction("c", "i", happened=11, outputs=[made("K", 1000, 100)]),
            "the split s would no longer hold: This split happened at",
        ),
        (correction("c", "nobody", void=True), "There is no event nobody to correct"),
        (
            correction("c", "i", facts={"kind": "blend"}, outputs=[made("K", 1000, 100)]),
            "The correction is a blend but the event it corrects is an intake",
        ),
        (correction("c", "i", happened=0), "An intake with 0 outputs makes no sense"),
        (
            correction("c", "b", happened=30, inputs=[("A", 4, 4)], outputs=[made("B", 4, 4)]),
            "lot id B is already used",
        ),
    ],
)
def test_a_correction_that_does_not_fit_is_refused(bad, words):
    with pytest.raises(BadInput) as caught:
        corrected(bad)
    assert words in str(caught.value)


def test_a_correction_cannot_put_a_lot_among_its_own_ancestors():
    # A is made from K, X from A; making K from X would close the ring
    ring = correction("c", "s", happened=30, inputs=[("X", 400, 40)], outputs=[made("A", 400, 40)])
    base = [DAY[0], split("s", "K", {"A": (400, 40)}), DAY[2]]
    with pytest.raises(BadInput, match="would be among its own ancestors"):
        corrected(ring, base=base)


def test_a_correction_may_draw_from_a_lot_that_was_recorded_later():
    late = intake("j", "L", 400, 40, minute=1, recorded_at=DAY[2].recorded_at)
    right = correction("c", "b", happened=30, inputs=[("L", 400, 40)], outputs=[made("X", 400, 40)])
    after = corrected(late, right)
    assert after.lots["L"].remaining_mass_g == 0
    assert after.lots["A"].remaining_mass_g == 400
    assert [e.event_id for e in after.events] == ["i", "s", "j", "b"]


def test_the_reason_of_a_hold_and_why_the_hold_is_corrected_are_two_things():
    held = hold("h", "K", reason="shells", minute=20)
    facts = book.correction_facts({**held.facts, "reason": "small shells"}, "hold", "misheard")
    first = correction("c1", "h", happened=21, facts=facts)
    assert first.facts["reason"] == "misheard"
    after = corrected(first, base=[DAY[0], held])
    assert after.lots["K"].held_because == "small shells"
    assert book.as_meant(first).facts == {"lot_id": "K", "reason": "small shells"}

    meant = book.as_meant(first).facts
    second = correction(
        "c2", "c1", happened=22, facts=book.correction_facts(meant, "hold", "clock was behind")
    )
    after = corrected(first, second, base=[DAY[0], held])
    assert after.lots["K"].held_because == "small shells"
    assert [e.happened_at for e in after.events if e.kind == "hold"] == [second.happened_at]


def test_a_correction_from_before_it_carried_the_reason_of_its_event_reads_as_it_did():
    wasted = event("w", "waste", 20, inputs=[("K", 10, 1)], streams=[("waste", 10, 1)],
                   facts={"reason": "fell on the floor"})  # fmt: skip
    old = correction("c", "w", happened=20, inputs=[("K", 20, 2)], streams=[("waste", 20, 2)],
                     facts={"kind": "waste"})  # fmt: skip
    after = corrected(old, base=[DAY[0], wasted])
    assert after.events[-1].facts == {}
    with pytest.raises(BadInput, match=r"facts.reason is missing"):
        corrected(
            correction("c", "h", happened=20, facts={"lot_id": "K", "kind": "hold"}),
            base=[DAY[0], hold("h", "K", minute=20)],
        )


def test_the_start_of_a_finished_run_cannot_be_voided():
    base = [
        intake("i", "K", 1000, 100),
        start("r", "R1", ["K"]),
        finish("f", "R1", [("K", 1000, 100)], [made("D", 110, 100)], [("water", 890, 0)]),
    ]
    with pytest.raises(BadInput, match="the stage_finished f would no longer hold"):
        corrected(correction("c", "r", void=True), base=base)
    open_again = corrected(correction("c", "f", void=True), base=base)
    assert open_again.lots["K"].status == "on_stage"
    assert open_again.runs["R1"].finished_at is None


def test_a_hold_recorded_by_mistake_is_lifted_for_descendants_too():
    base = [intake("i", "K", 1000, 100), hold("h", "K", minute=5), split("s", "K", {"A": (9, 1)})]
    assert book.fold(base).lots["A"].status == "held"
    after = corrected(correction("c", "h", void=True), base=base)
    assert [after.lots[k].status for k in ("K", "A")] == ["open", "open"]
