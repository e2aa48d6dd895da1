"""Leaf heat on the pages of a dryer: hottest leaf, margin, what is left, warnings."""

import pytest
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.works.floor import heat_of, run_view


def test_the_run_page_of_a_dryer_tells_its_leaf_heat(client: TestClient, seeded: Seeded) -> None:
    run = seeded.runs["belt"]
    page = client.get(f"/floor/run/{run}").text
    assert "Leaf heat" in page and "hottest leaf" in page
    heat = client.get(f"/floor/run/{run}?format=json").json()["heat"]
    told = heat_of(seeded.works, run_view(seeded.works, run))
    assert told is not None
    assert heat["leaf_max_c"] == pytest.approx(told.leaf_max_c)
    assert heat["margin_k"] == pytest.approx(60.0 - told.leaf_max_c)  # wakame: 60 degC, demo row
    assert all(row["kept"] is None for row in heat["kept"])  # no constants given for wakame
    assert "No published constant" in page


def test_other_machines_have_none(client: TestClient, seeded: Seeded) -> None:
    page = client.get(f"/floor/run/{seeded.runs['trough']}").text
    assert "Leaf heat" not in page
    assert client.get(f"/floor/run/{seeded.runs['trough']}?format=json").json()["heat"] is None


@pytest.mark.slow
def test_looking_ahead_at_hot_air_says_over_the_limit(client: TestClient, seeded: Seeded) -> None:
    there = [x for x in seeded.works.book.lots(site="kelp") if x.remaining_mass_g > 0]
    wet = max(there, key=lambda x: x.moisture_wb)
    ask = {"lot_ids": wet.lot_id, "do": "look", "residence_h": "300", "feed_kg_h": "260"}
    hot = client.get("/floor/load/belt-1", params={**ask, "inlet_shift_k": "20"}).text
    cool = client.get("/floor/load/belt-1", params={**ask, "inlet_shift_k": "-30"}).text
    assert "over its limit" in hot and "case hardening" in hot
    assert "below its limit" in cool and "over its limit" not in cool


def test_a_lot_that_is_used_up_is_refused_in_words(client: TestClient, seeded: Seeded) -> None:
    gone = client.get("/floor/load/belt-1", params={"lot_ids": seeded.lots["kelp b"], "do": "look"})
    assert gone.status_code == 422
    assert "Nothing is left of" in gone.text
