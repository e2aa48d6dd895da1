"""Bins and silos over HTTP: tip in, take out, be told why not."""

from __future__ import annotations

import re

from starlette.testclient import TestClient
from web_works import Seeded, sign_in

from wareleaf.web.app import create_app
from wareleaf.works.room_view import room_view

HTML = {"accept": "text/html"}


def press(page: str) -> str:
    return re.search(r'name="press" value="([^"]+)"', page).group(1)


def test_tip_in_and_take_out(seeded: Seeded) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    held = works.book.lot(lot).remaining_mass_g / 1000.0
    client = sign_in(TestClient(create_app(works)), "runa")
    page = client.get("/rooms/flake-silo", headers=HTML).text
    assert lot in page
    done = client.post(
        "/rooms/flake-silo/put", data={"press": press(page), "lot_ids": lot}, headers=HTML
    )
    assert f"Flake silo holds {held:.1f} kg now." in done.text
    assert "all of it mixes" in done.text
    page = client.get("/rooms/flake-silo", headers=HTML).text
    sent = {"press": press(page), "mass_kg": "10", "scale": "kelp-floor-scale", "place": "mill"}
    done = client.post("/rooms/flake-silo/take", data=sent, headers=HTML)
    made = re.search(r"Write on the bin: (\S+)\.", done.text).group(1)
    assert works.book.lot(made).mass_g == 10_000
    assert works.book.lot(made).place == "mill"
    again = client.post("/rooms/flake-silo/take", data=sent, headers=HTML)  # a second wet press
    assert again.status_code == 200
    assert room_view(works, "flake-silo").mass_kg == round(held - 10.0, 3)
    assert "Bins and silos on the way" in client.get(f"/trace/{made}", headers=HTML).text


def test_nothing_ticked_and_too_much_say_so_and_keep_what_was_typed(seeded: Seeded) -> None:
    client = sign_in(TestClient(create_app(seeded.works)), "runa")
    page = client.get("/rooms/flake-silo", headers=HTML).text
    none = client.post("/rooms/flake-silo/put", data={"press": press(page)}, headers=HTML)
    assert none.status_code == 422
    assert "No lot is ticked" in none.text
    client.post(
        "/rooms/flake-silo/put",
        data={"press": press(none.text), "lot_ids": seeded.lots["flake"]},
        headers=HTML,
    )
    page = client.get("/rooms/flake-silo", headers=HTML).text
    sent = {"press": press(page), "mass_kg": "5000", "scale": "kelp-floor-scale"}
    much = client.post("/rooms/flake-silo/take", data=sent, headers=HTML)
    assert much.status_code == 422
    assert "If the scale is right" in much.text
    assert 'value="5000"' in much.text


def test_the_rooms_of_a_site_are_listed(seeded: Seeded) -> None:
    client = sign_in(TestClient(create_app(seeded.works)), "runa")
    assert 'href="/rooms"' in client.get("/lots", headers=HTML).text
    page = client.get("/rooms", headers=HTML).text
    assert "Flake silo" in page
    assert "empty" in page
