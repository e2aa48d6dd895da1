"""The page that says where to aim: numbers of the job, choices, refusals."""

import pytest
from starlette.testclient import TestClient
from web_works import Seeded

from wareleaf.works.moisture_money import Wish, moisture_money

ASK = {"machine": "belt-2", "leaf": "sugar_kelp_blanched", "dry_matter_kg_year": "20000"}


def test_the_page_shows_what_the_job_says(client: TestClient, seeded: Seeded) -> None:
    told = moisture_money(
        seeded.works, "belt-2", "sugar_kelp_blanched", Wish(dry_matter_kg_year=20_000.0)
    )
    page = client.get("/adviser", params=ASK)
    assert page.status_code == 200
    assert f"Aim at {100 * told.advice.aim_wb:.1f} %" in page.text
    assert "such lots and it takes" in page.text  # a morning's book is too short for a spread
    data = client.get("/adviser", params={**ASK, "format": "json"}).json()["found"]
    assert data["advice"]["aim_wb"] == pytest.approx(told.advice.aim_wb)
    assert data["moving_saves"] == pytest.approx(told.moving_saves)


def test_typed_prices_are_taken(client: TestClient) -> None:
    ask = {**ASK, "price_per_kg": "10", "risk": "10", "rework_cost_per_kg": "2", "format": "json"}
    data = client.get("/adviser", params=ask).json()["found"]
    assert data["trade"]["price_per_kg"] == 10.0
    assert data["advice"]["cost"]["share_over"] <= 0.1 + 1e-9
    assert data["advice"]["cheapest_aim_wb"] <= data["advice"]["aim_wb"]
    assert data["trade"]["rework_cost_per_kg"] == 2.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"risk": "80"}, "80 % of lots over the limit"),
        ({"price_per_kg": "cheap"}, "must be a number"),
        ({"machine": "mill-1"}, "does not dry leaf"),
        ({"limit": "nowhere"}, "There is no limit"),
    ],
)
def test_a_mistake_is_said_and_the_form_stays(
    client: TestClient, change: dict[str, str], words: str
) -> None:
    answer = client.get("/adviser", params={**ASK, **change})
    assert answer.status_code == 422
    assert words in answer.text and "Work it out" in answer.text


def test_watch_leads_there(client: TestClient) -> None:
    assert 'href="/adviser"' in client.get("/watch").text
