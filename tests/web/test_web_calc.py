"""Calculations over HTTP: a fit shows its curve and residuals as a page."""

from __future__ import annotations

from starlette.testclient import TestClient

RUN = {
    "time_h": [0, 1, 2, 3, 4, 5],
    "moisture_db": [4.0, 2.1, 1.1, 0.62, 0.33, 0.2],
    "equilibrium_moisture_db": 0.05,
    "models": ["lewis", "page"],
}


def test_a_fit_is_shown_as_a_page(client: TestClient) -> None:
    shown = client.post("/api/calc/fit-drying/plot", json=RUN)
    assert shown.status_code == 200
    assert shown.headers["content-type"].startswith("text/html")
    assert shown.text.count("<svg ") == 4
    assert client.post("/api/calc/fit-drying", json=RUN).json()["best"] in shown.text


def test_a_door_without_a_picture_says_which_have_one(client: TestClient) -> None:
    refused = client.post("/api/calc/mill/plot", json={})
    assert 400 <= refused.status_code < 500
    assert "fit-drying" in refused.text
