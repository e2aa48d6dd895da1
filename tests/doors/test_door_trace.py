"""The trace door: hand-made genealogies with shares by hand, a book, and HTTP. Data invented."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.book import book_makers as make

from wareleaf import store
from wareleaf.measure import BadInput
from wareleaf.works import doors

# P is 60 kg of A and 40 kg of B; A is 3 parts K1 and 1 part K2; B is all K2.
EDGES = [
    {"parent": "K1", "child": "A", "dry_kg": 75.0},
    {"parent": "K2", "child": "A", "dry_kg": 25.0},
    {"parent": "K2", "child": "B", "dry_kg": 50.0},
    {"parent": "A", "child": "P", "dry_kg": 60.0, "event_id": "mix"},
    {"parent": "B", "child": "P", "dry_kg": 40.0, "event_id": "mix"},
]


def trace(**data):
    return doors.call("trace", data)


def by_id(out):
    return {n["lot_id"]: n for n in out["nodes"]}


def test_back_by_hand():
    out = trace(lot_id="P", direction="back", edges=EDGES)
    nodes = by_id(out)
    assert nodes["K1"]["share"] == pytest.approx(0.6 * 0.75)
    assert nodes["K2"]["share"] == pytest.approx(0.6 * 0.25 + 0.4)
    assert nodes["K2"]["dry_kg"] == pytest.approx(55.0)
    assert [o["source"] for o in out["origins"]] == ["K2", "K1"]
    assert sum(o["share"] for o in out["origins"]) == pytest.approx(1.0, abs=1e-12)
    over = {(e["parent"], e["child"]): e["dry_kg"] for e in out["edges"]}
    assert over["K1", "A"] == pytest.approx(45.0)
    assert over["K2", "B"] == pytest.approx(40.0)
    assert nodes["P"]["level"] == 0
    assert nodes["K1"]["end"]
    assert out["sources"]


def test_forward_by_hand():
    out = trace(lot_id="K2", direction="forward", edges=EDGES)
    nodes = by_id(out)
    assert nodes["A"]["share"] == pytest.approx(0.25)
    assert nodes["P"]["share"] == pytest.approx(0.55)
    assert nodes["P"]["dry_kg"] == pytest.approx(55.0)
    assert nodes["P"]["end"]
    assert out["origins"] == []


def test_kilograms_follow_the_stated_lot_and_a_misfit_is_said():
    out = trace(lot_id="P", edges=EDGES, dry_kg=200.0)
    assert by_id(out)["K1"]["dry_kg"] == pytest.approx(90.0)
    assert "carry 100 kg" in out["warnings"][0]
    assert trace(lot_id="P", edges=EDGES, dry_kg=100.0)["warnings"] == []


@settings(deadline=None, max_examples=40)
@given(st.data())
def test_the_shares_of_the_sources_add_up_to_one(data):
    edges = []
    for child in range(1, 12):
        parents = data.draw(st.sets(st.integers(0, child - 1), max_size=4))
        edges += [
            {"parent": f"L{p}", "child": f"L{child}", "dry_kg": data.draw(st.floats(0.1, 900.0))}
            for p in parents
        ]
    edges.append({"parent": "L11", "child": "end", "dry_kg": 5.0})
    out = trace(lot_id="end", edges=edges)
    assert sum(n["share"] for n in out["nodes"] if n["end"]) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"lot_id": "P"}, "exactly one of book and edges"),
        ({"lot_id": "P", "edges": EDGES, "book": "x.db"}, "exactly one of book and edges"),
        ({"lot_id": "Q", "edges": EDGES}, "No edge names the lot Q"),
        ({"lot_id": "P", "edges": [{"parent": "A", "child": "P", "dry_kg": 0}]}, "must be above 0"),
        ({"lot_id": "P", "edges": EDGES, "direction": "up"}, "back"),
        ({"lot_id": "P", "book": "nowhere.db"}, "no book"),
        ({"lot_id": "P", "edges": EDGES, "known_at": "2026-04-12T05:00:00Z"}, "goes with a book"),
        (
            {
                "lot_id": "P",
                "edges": [*EDGES, {"parent": "P", "child": "K1", "dry_kg": 1.0}],
            },
            "own ancestors",
        ),
    ],
)
def test_bad_input_is_named(data, words):
    with pytest.raises(BadInput, match=words):
        trace(**data)


@pytest.fixture
def kept(tmp_path):
    """Two loads, dried apart, blended and shipped; the weight shipped is corrected later."""
    path = tmp_path / "book.db"
    events = [
        make.event(
            "E1",
            "intake",
            0,
            outputs=[make.made("K1", 1_000_000, 100_000, attributes={"source": "line-3"})],
        ),
        make.event(
            "E2",
            "intake",
            1,
            outputs=[make.made("K2", 1_000_000, 100_000, attributes={"source": "line-4"})],
        ),
        make.event(
            "E3",
            "blend",
            20,
            inputs=[("K1", 600_000, 60_000), ("K2", 200_000, 20_000)],
            outputs=[make.made("B", 800_000, 80_000, form="blended")],
        ),
        make.release("E4", "B", minute=30),
        make.ship("E5", [("B", 100_000, 10_000)], minute=40, document="CN-1"),
        make.correction(
            "E6",
            "E5",
            minute=90,
            happened=40,
            inputs=[("B", 200_000, 20_000)],
            document="CN-1b",
            facts={
                "kind": "ship",
                "customer": "Larkspur Foods",
                "market": "north",
                "vehicle": "van",
            },
        ),
    ]
    with store.open_book(path) as opened:
        opened.append_many(events, now=make.NOW)
    return path


def test_a_book_gives_origins_receipts_and_what_lots_are(kept):
    out = trace(lot_id="B", direction="back", book=str(kept))
    assert {o["source"]: o["share"] for o in out["origins"]} == pytest.approx(
        {"line-3": 0.75, "line-4": 0.25}
    )
    assert by_id(out)["K1"]["kg"] == 1000.0
    assert by_id(out)["B"]["form"] == "blended"
    forward = trace(lot_id="K1", direction="forward", book=str(kept))
    (receipt,) = forward["receipts"]
    # the corrected weight of the shipment, not the one first written
    assert receipt["kg"] == 200.0
    assert receipt["dry_from_lot_kg"] == pytest.approx(15.0)
    assert receipt["customer"] == "Larkspur Foods"
    assert receipt["document"] == "CN-1b"


def test_as_known_on_that_day(kept):
    then = (make.DAWN + timedelta(minutes=60)).isoformat()
    (receipt,) = trace(lot_id="K1", direction="forward", book=str(kept), known_at=then)["receipts"]
    assert receipt["kg"] == 100.0
    early = (make.DAWN + timedelta(minutes=5)).isoformat()
    with pytest.raises(BadInput, match="no lot B in the book by"):
        trace(lot_id="B", book=str(kept), known_at=early)


def test_over_http_no_book_is_opened(kept):
    from fastapi import FastAPI
    from starlette.testclient import TestClient

    from wareleaf.web.pages.calc import router

    app = FastAPI()
    app.include_router(router)
    with TestClient(app) as client:
        good = client.post("/api/calc/trace", json={"lot_id": "P", "edges": EDGES})
        assert good.status_code == 200
        with pytest.raises(BadInput, match="only on its own machine"):
            client.post("/api/calc/trace", json={"lot_id": "B", "book": str(kept)})
    assert doors.call("trace", {"lot_id": "B", "book": str(kept)})["lot_id"] == "B"
