"""What one works ships, read at another that knows nothing of it. Books are invented."""

import copy
import json

import pytest
from tests.book.book_makers import NOW, at, correction, event, intake, made, release, ship

from wareleaf import book
from wareleaf.book.exchange import NAMESPACE, Naming, document, event_hash, read_document
from wareleaf.measure import BadInput

SENDER = Naming(
    "https://skerry.example/trace/",
    gtin={"flake": "09506000134352"},
    party_gln={"Larkspur Foods": "4012345000054"},
)
BUYER = Naming("https://larkspur.example/lots/")
GTIN_ONLY = "https://id.gs1.org/01/09506000134352"


def packed():
    """10 kg of kelp, packed as P1 (6 kg, with a GTIN) and P2 (4 kg) and released."""
    return [
        intake("E1", "K1", 10_000, 9_000, facts={"source": "line-3"}),
        event(
            "E2",
            "pack",
            10,
            inputs=[("K1", 10_000, 9_000)],
            outputs=[
                made("P1", 6_000, 5_400, form="packed", attributes={"product": "flake"}),
                made("P2", 4_000, 3_600, form="packed"),
            ],
            facts={"film": "pe", "nominal_g": 500},
        ),
        release("E3", "P1", minute=20),
        release("E4", "P2", minute=21),
        ship("S1", [("P1", 5_000, 4_500), ("P2", 4_000, 3_600)], minute=30, document="CN/7 a"),
    ]


def put_right(event_id, corrects, inputs, minute, **more):
    facts = {"kind": "ship", "customer": "Larkspur Foods", "market": "north"}
    return correction(
        event_id, corrects, minute=minute, happened=30, inputs=inputs, facts=facts, **more
    )


def voided(event_id, corrects, minute):
    facts = {"kind": "ship"}
    return correction(event_id, corrects, minute=minute, happened=30, void=True, facts=facts)


def sent(events, *, private=False):
    """Out of the sender's book, through a file, in at the buyer's."""
    text = json.dumps(document(events, SENDER, created=NOW, private=private))
    return read_document(json.loads(text), BUYER)


def shipped_g(events):
    """Grams that left by the sender's own book, wet and dry."""
    lots = list(book.fold(events).lots.values())
    return sum(lot.shipped_mass_g for lot in lots), sum(lot.shipped_dry_g for lot in lots)


def arriving_g(found):
    return (
        sum(round(a.mass_kg * 1000) for a in found.arrivals),
        sum(round(a.dry_kg * 1000) for a in found.arrivals),
    )


@pytest.mark.parametrize("private", [False, True])
def test_a_shipment_arrives_with_lots_masses_sender_and_paper(private):
    found = sent(packed(), private=private)
    first, second = found.arrivals
    assert (first.lot, first.mass_kg, first.dry_kg) == ("P1", 5.0, 4.5)
    assert (second.lot, second.mass_kg, second.dry_kg) == ("P2", 4.0, 3.6)
    assert first.address == "https://id.gs1.org/01/09506000134352/10/P1"
    for arrival in found.arrivals:
        assert arrival.sender == "https://skerry.example/trace/place/skerry"
        assert arrival.receiver == "https://id.gs1.org/417/4012345000054"
        assert (arrival.document, arrival.step) == ("CN/7 a", "shipping")
        assert arrival.happened_at == at(30)
    assert found.left_aside == ()
    assert arriving_g(found) == shipped_g(packed()) == (9_000, 8_100)


def test_a_corrected_shipment_arrives_once_as_corrected():
    events = [
        *packed(),
        put_right("S2", "S1", [("P1", 6_000, 5_400)], 40, document="CN/8"),
        put_right("S3", "S2", [("P1", 5_500, 4_950)], 50, document="CN/9"),
    ]
    found = sent(events)
    (only,) = found.arrivals
    assert (only.lot, only.mass_kg, only.document) == ("P1", 5.5, "CN/9")
    assert arriving_g(found) == shipped_g(events) == (5_500, 4_950)
    assert len(found.left_aside) == 2
    assert all("declared wrong by its sender" in s for s in found.left_aside)


def test_a_voided_shipment_does_not_arrive_and_is_told():
    gone = [*packed(), voided("V", "S1", 40)]
    found = sent(gone)
    assert found.arrivals == ()
    assert shipped_g(gone) == (0, 0)
    assert "none replaces it" in found.left_aside[0]
    corrected_first = [
        *packed(),
        put_right("S2", "S1", [("P1", 6_000, 5_400)], 40),
        voided("V", "S2", 50),
    ]
    assert sent(corrected_first).arrivals == ()
    again = [*gone, ship("S9", [("P2", 1_000, 900)], minute=60)]
    assert arriving_g(sent(again)) == shipped_g(again) == (1_000, 900)


def test_declarations_count_wherever_they_stand():
    """The standard sets no order of events in a document."""
    events = [*packed(), put_right("S2", "S1", [("P1", 6_000, 5_400)], 40)]
    doc = json.loads(json.dumps(document(events, SENDER, created=NOW)))
    doc["epcisBody"]["eventList"].reverse()
    assert [(a.lot, a.mass_kg) for a in read_document(doc, BUYER).arrivals] == [("P1", 6.0)]


def test_what_came_back_is_told():
    back = event(
        "B",
        "receive_back",
        60,
        inputs=[("P1", 2_000, 1_800)],
        outputs=[made("P3", 1_990, 1_791, form="packed")],
        facts={"customer": "Larkspur Foods", "because": "torn"},
    )
    found = sent([*packed(), back])
    assert "2.0 kg of P1 came back" in found.left_aside[0]
    assert arriving_g(found) == (9_000, 8_100)


def stranger(*events):
    return {
        "@context": ["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": NOW.isoformat(),
        "epcisBody": {"eventList": [_foreign(**e) for e in events]},
    }


def _foreign(step="shipping", **fields):
    return {
        "type": "ObjectEvent",
        "eventTime": at(3).isoformat(),
        "eventTimeZoneOffset": "+00:00",
        "action": "OBSERVE",
        "bizStep": step,
        **fields,
    }


def _kg(lot, mass=5, **more):
    return {"quantityList": [{"epcClass": lot, "quantity": mass, "uom": "KGM", **more}]}


def test_a_strangers_lot_counts_by_its_shipments_only_and_a_repeated_event_once():
    lot = "urn:x:lot"
    first, second = _kg(lot, 3), _kg(lot, 4)
    papers = [
        {"type": "po", "bizTransaction": "urn:x:order"},
        {"type": "urn:epcglobal:cbv:btt:desadv", "bizTransaction": "urn:x:advice"},
    ]
    events = (
        {"step": "commissioning", **_kg(lot, 7)},
        {**first, "bizTransactionList": papers},
        {**first, "bizTransactionList": papers},
        second,
        {"step": "departing", **_kg(lot, 7)},
    )
    found = read_document(stranger(*events), BUYER)
    assert [a.mass_kg for a in found.arrivals] == [3.0, 4.0]
    assert found.arrivals[0].document == "urn:x:advice"


def test_a_strangers_event_is_known_by_its_own_id_too():
    """An id that is no hash, and a declaration that repeats the event with other masses."""
    named = "urn:uuid:11111111-1111-4111-8111-111111111111"
    wrong = {"eventID": named, **_kg("urn:x:a")}
    declared = {"errorDeclaration": {"declarationTime": at(9).isoformat()}, "eventID": named}
    doc = stranger({**declared, **_kg("urn:x:a", 6)}, wrong, _kg("urn:x:b"))
    assert [a.lot for a in read_document(doc, BUYER).arrivals] == ["urn:x:b"]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (_kg(GTIN_ONLY), "names a product and no lot"),
        (_kg("urn:x:a", 0), "must be above 0"),
        (_kg("urn:x:a", 3, uom="LTR"), "3 LTR, which is no mass"),
        ({"quantityList": [{"epcClass": "urn:x:a"}]}, "it gives no mass"),
        ({"quantityList": [{"quantity": 4, "uom": "KGM"}]}, "has no epcClass"),
        ({"epcList": ["urn:x:pallet"]}, "urn:x:pallet and no lot with its mass"),
        ({}, "names nothing and no lot with its mass"),
    ],
)
def test_what_is_not_enough_to_book_is_said(fields, words):
    found = read_document(stranger(fields, _kg("urn:x:good", 2)), BUYER)
    assert [(a.lot, a.mass_kg) for a in found.arrivals] == [("urn:x:good", 2.0)]
    (said,) = found.left_aside
    assert words in said
    assert said.startswith("Event 0 ")


def test_an_unreadable_time_is_refused():
    doc = stranger({"eventTime": "noon", **_kg("urn:x:a")})
    with pytest.raises(BadInput, match="'noon'"):
        read_document(doc, BUYER)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda e: e["quantityList"][0].update(quantity=5.5), "ships 5.5 kg of P1 but draws 5 kg"),
        (lambda e: e["wareleaf:drawn"][0].update({"wareleaf:dryGrams": 5_001}), "dry matter"),
        (lambda e: e["quantityList"].pop(), "ships 1 lots but draws 2"),
    ],
)
def test_masses_that_disagree_refuse_the_document(change, words):
    """With a new hash, so that only the masses are wrong."""
    doc = copy.deepcopy(document(packed(), SENDER, created=NOW))
    context = doc["@context"]
    assert NAMESPACE in json.dumps(context)
    shipment = doc["epcisBody"]["eventList"][-1]
    change(shipment)
    shipment["eventID"] = event_hash(shipment, context)
    with pytest.raises(BadInput, match=words):
        read_document(doc, BUYER)
