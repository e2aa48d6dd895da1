"""EPCIS out and in for the growing site, cooling, grades, pallets, returns, rework, destruction.

All of it is invented; the words of steps and dispositions are held against GS1's schema, where
present (CBV 2.0 has no word for a harvest or for cooling).
"""

import json

from tests.book import test_exchange_documents as documents
from tests.book.book_makers import NOW, at, correction, event, intake, made, release, ship

from wareleaf import book
from wareleaf.book.exchange import document, problems_of, read_document

NAMING, needs_schema = documents.NAMING, documents.needs_schema
validator = documents.validator  # a fixture
SSCC = "340123450000000017"


def history():
    """Every new kind once, with corrections of a pallet, a return and a cooling."""
    cold = {"method": "ice", "temperature_c": 2.0, "from": at(3).isoformat()}
    on_it = {"sscc": SSCC, "lots": [{"lot_id": "P1", "mass_g": 4_000, "packs": 4}]}
    back = {"customer": "Larkspur Foods", "because": "torn"}
    return [
        event("W1", "site_work", -90, facts={"source": "line-3", "work": "cleaned"}),
        event(
            "H1",
            "harvest",
            -60,
            document="HV/1",
            facts={
                "source": "line-3",
                "harvest_id": "H-1",
                "cut_at": at(-60).isoformat(),
                "estimated_kg": 10.0,
                "vessel": "Tern",
                "people": ["Ro"],
            },
        ),
        event(
            "C1",
            "cooling",
            -50,
            facts={**cold, "from": at(-50).isoformat(), "lots": [], "harvest_id": "H-1"},
        ),
        intake("I1", "K1", 10_000, 9_000, facts={"source": "line-3", "harvest": "H-1"}),
        event("C2", "cooling", 3, facts={**cold, "until": at(9).isoformat(), "lots": ["K1"]}),
        event("G1", "grade", 5, facts={"lot_id": "K1", "grade": "A", "by": "hand"}),
        event(
            "P",
            "pack",
            10,
            inputs=[("K1", 10_000, 9_000)],
            outputs=[made("P1", 10_000, 9_000, form="packed")],
            facts={"film": "pe", "nominal_g": 1000},
        ),
        event("A1", "aggregate", 20, facts=on_it),
        event(
            "A2", "disaggregate", 25, facts={**on_it, "lots": [{"lot_id": "P1", "mass_g": 1000}]}
        ),
        release("R1", "P1", minute=30),
        ship("S1", [("P1", 3_000, 2_700)], minute=40),
        correction(
            "S2",
            "S1",
            minute=45,
            happened=40,
            inputs=[("P1", 3_000, 2_700)],
            facts={
                "kind": "ship",
                "customer": "Larkspur Foods",
                "market": "north",
                "pallets": [SSCC],
            },
        ),
        event(
            "B1",
            "receive_back",
            60,
            inputs=[("P1", 2_000, 1_800)],
            document="RN/1",
            outputs=[made("P2", 1_990, 1_791, form="packed")],
            facts=back,
        ),
        event(
            "RW",
            "rework",
            70,
            inputs=[("P2", 1_990, 1_791)],
            facts={"because": "torn"},
            outputs=[made("F1", 1_900, 1_710, form="flake")],
            streams=[("waste", 90, 81)],
        ),
        event(
            "D1",
            "destroy",
            80,
            inputs=[("F1", 1_900, 1_710)],
            document="D/1",
            streams=[("destroyed", 1_900, 1_710)],
            facts={"method": "composted", "witness": "Ro"},
        ),
        correction(
            "C3",
            "C2",
            minute=90,
            happened=4,
            facts={**cold, "from": at(4).isoformat(), "lots": ["K1"], "kind": "cooling"},
        ),
    ]


def written(**more):
    return document(history(), NAMING, created=NOW, **more)


def test_a_private_document_gives_the_same_events_and_lots_back():
    back = read_document(json.loads(json.dumps(written(private=True))), NAMING)
    assert list(back.events) == history()
    assert book.fold(back.events).lots == book.fold(history()).lots
    assert problems_of(written()) == problems_of(written(private=True)) == []


def test_shapes_of_pallets_harvests_and_returns():
    events = written()["epcisBody"]["eventList"]
    by_id = {e["wareleaf:eventId"]: e for e in events if "errorDeclaration" not in e}
    pallet = f"https://id.gs1.org/00/{SSCC}"
    put_on, off = by_id["A1"], by_id["A2"]
    assert (put_on["type"], put_on["action"], put_on["bizStep"]) == (
        "AggregationEvent",
        "ADD",
        "packing",
    )
    assert put_on["parentID"] == pallet
    assert put_on["childQuantityList"] == [
        {"epcClass": "https://example.com/trace/lot/P1", "quantity": 4.0, "uom": "KGM"}
    ]
    assert (off["action"], off["bizStep"]) == ("DELETE", "unpacking")
    assert by_id["S2"]["epcList"] == [pallet]
    assert by_id["H1"]["epcList"] == ["https://example.com/trace/harvest/H-1"]
    assert by_id["C1"]["epcList"] == by_id["H1"]["epcList"]
    cold = by_id["C2"]["sensorElementList"][0]["sensorReport"][0]
    assert (cold["type"], cold["value"], cold["uom"]) == ("Temperature", 2.0, "CEL")
    assert (by_id["B1"]["bizStep"], by_id["B1"]["disposition"]) == ("receiving", "returned")
    assert by_id["D1"]["action"] == "DELETE"
    assert (by_id["D1"]["bizStep"], by_id["D1"]["disposition"]) == ("destroying", "destroyed")


def test_reasons_people_and_witnesses_stay_at_home():
    text = json.dumps(written())
    for secret in ("composted", 'Ro"', "because", "Tern"):
        assert secret not in text


@needs_schema
def test_the_schema_finds_nothing_in_what_we_write(validator):
    for private in (False, True):
        doc = json.loads(json.dumps(written(private=private)))
        assert list(validator.iter_errors(doc)) == []
