"""The page of an oxidation run: theaflavin and colour typed in, also when the leaf is off."""

from __future__ import annotations

import json
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in


@pytest.fixture
def floor_run(seeded: Seeded) -> str:
    """Leaf an hour on the floor."""
    load = Load("field-b", 340.0, 40.0, "leaf-scale", moisture_wb=0.66, moisture_meter="tea-quick")
    lot = take_in(seeded.works, "davin", load)[1].lot_id
    run = start_run(seeded.works, "davin", "floor-1", [lot])
    seeded.clock.later(1.0)
    return run


def readings(client: TestClient, run: str) -> list[Any]:
    data = json.loads(client.get(f"/floor/run/{run}?format=json").text)
    return [e["facts"] for e in data["run"]["readings"]]


def test_a_sample_of_half_a_percent_is_taken_as_it_is(client: TestClient, floor_run: str) -> None:
    page = client.get(f"/floor/run/{floor_run}").text
    assert "When the sample was taken" in page
    assert "Theaflavin bench" in page
    typed = {"meter": "tea-infusion", "value": "0.52"}
    kept = client.post(f"/floor/run/{floor_run}/reading", data=typed)
    assert "Reading kept: Theaflavin bench 0.52 %." in kept.text
    assert "0.520 ± 0.036" in kept.text
    assert "By the readings best about" in kept.text
    assert readings(client, floor_run)[-1]["value"] == pytest.approx(0.0052)


def test_a_sample_of_leaf_that_is_off_is_typed_in_with_its_minute(
    client: TestClient, seeded: Seeded, floor_run: str
) -> None:
    taken = seeded.clock.now.replace(microsecond=0)
    seeded.clock.later(1.0)
    off = Off(295.0, 0.655, "tea-quick", "tea-floor-scale")
    finish_run(seeded.works, "davin", floor_run, [off])
    seeded.clock.later(2.0)
    page = client.get(f"/floor/run/{floor_run}").text
    assert "A sample of it was read later" in page
    assert "Take it off" not in page
    assert "Leaf bay scale" not in page  # only samples are still read
    form = {"meter": "tea-infusion", "value": "0.61", "happened_at": f"{taken:%Y-%m-%dT%H:%M}"}
    assert client.post(f"/floor/run/{floor_run}/reading", data=form).status_code == 200
    data = json.loads(client.get(f"/floor/run/{floor_run}?format=json").text)
    assert data["run"]["readings"][-1]["happened_at"].startswith(f"{taken:%Y-%m-%dT%H:%M}")


def test_other_runs_that_are_over_take_no_more_readings(client: TestClient, seeded: Seeded) -> None:
    done = next(r for r in seeded.works.book.runs(site="kelp") if r.finished_at)
    page = client.get(f"/floor/run/{done.run_id}").text
    assert "A sample of it was read later" not in page
    assert "Which meter?" not in page


def test_the_trough_is_not_offered_the_theaflavin_bench(client: TestClient, seeded: Seeded) -> None:
    assert "Theaflavin bench" not in client.get(f"/floor/run/{seeded.runs['trough']}").text
