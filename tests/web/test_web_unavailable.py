"""Pages when the book cannot be written or read: it is said, and what was typed is kept."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from tests.store.small_disk import DISKS
from web_works import Seeded, copy_of, sign_in

from wareleaf.web.app import create_app

HTML = {"accept": "text/html"}
LOAD = {
    "source": "line-01",
    "gross_kg": "612.5",
    "tare_kg": "41",
    "meter": "quay-scale",
    "note": "first of the tide",
}


@pytest.fixture(params=DISKS, ids=lambda d: d.__name__)
def small(request: pytest.FixtureRequest, morning: Seeded, tmp_path: Path) -> Iterator[tuple]:
    """The morning's works on a small disk, with someone signed in."""
    disk = request.param(tmp_path / "disk")
    made = copy_of(morning, disk.folder / "works")
    try:
        with TestClient(create_app(made.works), raise_server_exceptions=True) as client:
            yield disk, made, sign_in(client, "ilsa")
    finally:
        made.works.book.close()
        disk.close()


def typed_values(html: str) -> dict[str, str]:
    found = {}
    for tag in re.findall(r"<input[^>]*>", html):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and value and (("checked" in tag) or 'type="radio"' not in tag):
            found[name[1]] = value[1]
    return found


def test_a_load_on_a_full_disk_is_not_lost_from_the_screen(small: tuple) -> None:
    disk, made, client = small
    before = made.works.book.tree_root()
    client.get("/intake", headers=HTML)
    press = typed_values(client.get("/intake", headers=HTML).text)["press"]
    with disk.full():
        page = client.post("/intake", data=LOAD | {"press": press}, headers=HTML)
        data = client.post("/intake", data=LOAD, headers={"accept": "application/json"})
    assert page.status_code == 503
    assert "Nothing was recorded" in page.text
    assert "disk" in page.text and "nothing of this was recorded" in page.text
    shown = typed_values(page.text)
    for name in ("source", "gross_kg", "tare_kg", "note"):
        assert shown[name] == LOAD[name], name
    assert "Traceback" not in page.text
    assert data.status_code == 503 and "nothing of this was recorded" in str(data.json())
    assert made.works.book.tree_root() == before
    again = client.post(
        "/intake", data=LOAD | {"press": press}, headers=HTML, follow_redirects=False
    )
    assert again.status_code == 303, "with room it is taken in, by the same press"
    assert made.works.book.tree_root()[0] > before[0]
    assert made.works.book.verify().ok


def damage(made: Seeded) -> None:
    """The book's file is overwritten while the app runs."""
    with made.works.book.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    made.works.book.engine.dispose()
    path = made.works.folder / "book.db"
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * (size - 4096))


def test_a_damaged_book_is_said_on_every_page(client: TestClient, seeded: Seeded) -> None:
    damage(seeded)
    for address in ("/", "/intake", "/floor", "/lots", "/trace", "/watch", "/bench", "/plan"):
        page = client.get(address, headers=HTML)
        assert page.status_code == 503, address
        assert "damaged" in page.text and "wareleaf salvage" in page.text, address
        assert (
            "<h1" in page.text and "default-src 'self'" in (page.headers["content-security-policy"])
        )
        data = client.get(address, headers={"accept": "application/json"})
        assert data.status_code == 503 and "damaged" in str(data.json()), address


def test_what_was_typed_stands_on_the_page_of_a_damaged_book(
    client: TestClient, seeded: Seeded
) -> None:
    damage(seeded)
    page = client.post("/intake", data=LOAD | {"press": "p", "pin": "2468"}, headers=HTML)
    assert page.status_code == 503
    assert "Not recorded" in page.text and "Write it on paper" in page.text
    for value in LOAD.values():
        assert value in page.text
    assert "2468" not in page.text
