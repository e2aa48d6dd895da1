"""The facts of the kinds around the making, refused one by one, and what folding makes of them."""

import pytest
from tests.book.book_makers import NOW, at, correction, event, intake, made, release, ship

from wareleaf import book
from wareleaf.measure import BadInput

SSCC = "340123450000000017"
COLD = {"lots": ["K"], "method": "ice", "temperature_c": 1.0, "from": at(1).isoformat()}
HARVEST = {"source": "l", "harvest_id": "H", "cut_at": at(0).isoformat(), "estimated_kg": 1}
ON = {"sscc": SSCC, "lots": [{"lot_id": "K", "mass_g": 5}]}


@pytest.mark.parametrize(
    ("kind", "facts", "words"),
    [
        ("site_work", {"source": "l"}, "facts.work is missing"),
        ("site_work", {"source": "l", "work": "w", "substance": "x"}, "waiting interval"),
        ("site_work", {"source": "l", "work": "w", "interval_days": -1}, "days from 0 to 3660"),
        ("site_work", {"source": "l", "work": "w", "dose": 5}, "facts.dose is 5; give a text"),
        ("harvest", {**HARVEST, "cut_at": "2026-04-12T06:30"}, "a time with its offset"),
        ("harvest", {**HARVEST, "estimated_kg": -1}, "number of 0 or more"),
        ("harvest", {**HARVEST, "people": "Ro"}, "must be a list of texts"),
        ("cooling", {**COLD, "lots": []}, "neither a lot nor a harvest"),
        ("cooling", {**COLD, "method": "wind"}, "must be one of ice"),
        ("cooling", {**COLD, "temperature_c": 60.0}, "cooled at -40 to 25 degC"),
        ("cooling", {**COLD, "until": at(0).isoformat()}, "before the cooling began"),
        ("grade", {"lot_id": "K", "grade": "A", "by": "luck"}, "must be one of taste, hand, sieve"),
        ("aggregate", {**ON, "sscc": "340123450000000018"}, "18 digits with a right check digit"),
        ("aggregate", {**ON, "lots": []}, "names no lot"),
        ("disaggregate", {**ON, "lots": [{"lot_id": "K", "mass_g": 0}]}, "a mass_g above 0"),
    ],
)
def test_facts_that_cannot_be_are_refused(kind, facts, words):
    with pytest.raises(BadInput, match=words):
        book.check_form(event("x", kind, 2, facts=facts))


def test_a_destruction_needs_method_witness_and_paper():
    facts = {"method": "burnt", "witness": "bo"}
    for name in facts:
        less = {k: v for k, v in facts.items() if k != name}
        with pytest.raises(BadInput, match=f"facts.{name} is missing"):
            book.check_form(event("x", "destroy", 2, inputs=[("K", 5, 1)], facts=less))
    with pytest.raises(BadInput, match="A destroy names no document"):
        book.check_form(event("x", "destroy", 2, inputs=[("K", 5, 1)], facts=facts))


def sent():
    """K: 1000 g packed, 300 g to c and 200 g to d."""
    packed = made("K", 1000, 900, form="packed")
    to_d = {"customer": "d", "market": "north"}
    return [
        event("i", "intake", 0, outputs=[packed]),
        release("r", "K", minute=1),
        ship("s1", [("K", 300, 270)], minute=2),
        event("s2", "ship", 3, inputs=[("K", 200, 180)], facts=to_d),
    ]


def back(event_id, mass, dry, minute=5, customer="d"):
    return event(event_id, "receive_back", minute, inputs=[("K", mass, dry)],
                 outputs=[made(f"of {event_id}", mass, dry, form="packed")],
                 facts={"customer": customer, "because": "torn"})  # fmt: skip


def test_what_comes_back_leaves_stock_alone_and_is_held():
    state = book.fold([*sent(), back("b1", 150, 135), back("b2", 50, 45)])
    lot = state.lots["K"]
    assert (lot.remaining_mass_g, lot.returned_mass_g, lot.shipped_mass_g) == (500, 200, 500)
    assert lot.away == {"Larkspur Foods": (300, 270)}
    assert state.lots["of b1"].held_because == "came back from d: torn"
    with pytest.raises(BadInput, match="who has 0 kg of it"):
        book.fold([*sent(), back("b1", 150, 135), back("b2", 50, 45), back("b3", 1, 0)])


def test_a_lot_that_is_wholly_back_is_no_longer_shipped():
    events = [intake("i", "K", 200, 180, minute=0), release("r", "K", minute=1)]
    events.append(event("s", "ship", 3, inputs=[("K", 200, 180)],
                        facts={"customer": "d", "market": "north"}))  # fmt: skip
    assert book.fold(events).lots["K"].status == "shipped"
    assert book.fold([*events, back("b", 200, 180)]).lots["K"].status == "used"


def test_a_return_folds_after_a_shipment_that_a_correction_moved_back():
    """The shipment is corrected to carry a lot recorded after the return; both still hold."""
    later = intake("i2", "L", 50, 45, minute=2.5, recorded_at=at(9))
    fixed = correction("c", "s2", 20, happened=3, inputs=[("K", 200, 180), ("L", 10, 9)],
                       facts={"customer": "d", "market": "north"})  # fmt: skip
    state = book.fold([*sent(), back("b", 150, 135), later, fixed])
    assert state.lots["K"].away["d"] == (50, 45)
    assert state.lots["L"].away == {"d": (10, 9)}


def test_pallets_hold_what_is_put_on_them():
    state = book.fold([*sent(), event("a", "aggregate", 6, facts={**ON, "lots": [
        {"lot_id": "K", "mass_g": 400}]})])  # fmt: skip
    assert state.lots["K"].pallets == {SSCC: 400}
    for kind, mass, words in (
        ("aggregate", 101, "0.1 kg are here and on no pallet"),
        ("disaggregate", 401, "which has 0.4 kg of it"),
    ):
        facts = {"sscc": SSCC, "lots": [{"lot_id": "K", "mass_g": mass}]}
        with pytest.raises(BadInput, match=words):
            book.check(event("x", kind, 7, facts=facts), state.lots, NOW)
    for pallets, mass, words in (
        ([], 101, "0.1 kg stand loose; take it off pallet"),
        ([SSCC], 399, "a pallet ships as a whole"),
    ):
        facts = {"customer": "c", "market": "north", "pallets": pallets}
        with pytest.raises(BadInput, match=words):
            book.check(event("x", "ship", 7, inputs=[("K", mass, 9)], facts=facts),
                       state.lots, NOW)  # fmt: skip
    leaf = book.fold([intake("i", "K")])
    with pytest.raises(BadInput, match="only packed lots go on a pallet"):
        book.check(event("x", "aggregate", 7, facts=ON), leaf.lots, NOW)
