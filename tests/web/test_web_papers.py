"""The number of a paper, typed on a page, stands in the entry; so does an earlier time."""

from __future__ import annotations

from datetime import timedelta

import pytest
from starlette.testclient import TestClient
from web_works import Seeded, sign_in

from wareleaf.web.app import create_app

ACTS = {
    "sample": ("sample", {"mass_g": "50"}),
    "split": ("split", {"part_1": "1", "rest": "stays"}),
    "combine": ("combine", {"lot_ids": "OTHER"}),
    "grade": ("grade", {"grade": "A", "grade_by": "hand"}),
    "cool": ("cooling", {"cool_method": "ice", "temperature_c": "1"}),
    "rework": ("rework", {"came_kg": "1", "taken_kg": "1", "rework_into": "flake", "because": "x"}),
}


@pytest.mark.parametrize("act", ACTS)
def test_on_the_page_of_a_lot(client: TestClient, seeded: Seeded, act: str) -> None:
    kind, typed = ACTS[act]
    lot, book = seeded.lots["flake"], seeded.works.book
    if act == "combine":
        client.post(f"/lots/{lot}/split", data={"part_1": "1", "rest": "stays"})
        (other,) = book.events_in_force(kind="split", lot_id=lot)[-1].outputs
        typed = {"lot_ids": other.lot_id}
    assert f'id="f-{act}-paper" name="document"' in client.get(f"/lots/{lot}").text
    done = client.post(f"/lots/{lot}/{act}", data={**typed, "document": "P-8"})
    assert done.status_code == 200
    assert book.events_in_force(kind=kind, lot_id=lot)[-1].document == "P-8"


def test_at_a_machine(client: TestClient, seeded: Seeded) -> None:
    book, began = seeded.works.book, seeded.clock.now
    seeded.clock.later(1.0)
    local = began.astimezone(seeded.works.settings.zone) + timedelta(minutes=30)
    typed = {"lot_ids": seeded.lots["flake"], "happened_at": f"{local:%Y-%m-%dT%H:%M}"}
    assert "Started earlier, paper" in client.get("/floor/load/mill-1").text
    started = client.post("/floor/load/mill-1", data={**typed, "document": "RUN-8"})
    run = str(started.url).rsplit("/", 1)[1]
    read = {"meter": "kelp-quick", "value": "10", "document": "READ-8"}
    assert client.post(f"/floor/run/{run}/reading", data=read).status_code == 200
    page = client.get(f"/floor/run/{run}").text
    assert "Came off earlier, paper" in page
    local += timedelta(minutes=10)
    off = {"mass_kg_1": "37", "moisture_wb_1": "10", "scale": "kelp-floor-scale",
           "moisture_meter": "kelp-quick", "off_document": "OFF-8",
           "off_at": f"{local:%Y-%m-%dT%H:%M}"}  # fmt: skip
    assert client.post(f"/floor/run/{run}/off", data=off).status_code == 200
    kinds = ("stage_started", "reading", "stage_finished")
    found = [e for e in book.events_in_force(kind=kinds) if e.facts.get("run_id") == run]
    assert {e.kind: e.document for e in found} == {
        "stage_started": "RUN-8",
        "reading": "READ-8",
        "stage_finished": "OFF-8",
    }
    (finished,) = (e for e in found if e.kind == "stage_finished")
    assert f"{finished.happened_at:%Y-%m-%dT%H:%M}" == off["off_at"]
    shown = client.get(f"/lots/{finished.outputs[0].lot_id}").text
    assert "OFF-8" in shown


def test_at_a_silo_and_a_bench(seeded: Seeded) -> None:
    book, lot = seeded.works.book, seeded.lots["flake"]
    client = sign_in(TestClient(create_app(seeded.works)), "runa")
    bench = {"lot_id": lot, "mass_g": "20", "document": "BAG-8"}
    assert client.post("/bench/sample", data=bench).status_code == 200
    client.post("/rooms/flake-silo/put", data={"lot_ids": lot, "document": "IN-8"})
    taken = {"mass_kg": "10", "scale": "kelp-floor-scale", "document": "OUT-8"}
    client.post("/rooms/flake-silo/take", data=taken)
    kinds = ("sample", "split", "combine")
    found = {e.kind: e.document for e in book.events_in_force(kind=kinds)}
    assert found == {"sample": "BAG-8", "split": "IN-8", "combine": "OUT-8"}
