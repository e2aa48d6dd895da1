"""Every store test runs on SQLite and on PostgreSQL alike."""

from __future__ import annotations

import pytest
from tests.store.postgres_server import Server

from wareleaf import store


@pytest.fixture(scope="session")
def postgres():
    with Server() as server:
        yield server


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def where(request, tmp_path):
    """A place for a new book: a path or a URL."""
    if request.param == "sqlite":
        return str(tmp_path / "book.db")
    return request.getfixturevalue("postgres").new_database()


@pytest.fixture(
    scope="module", params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]
)
def shared(request, tmp_path_factory):
    """One open book for a whole file of tests that leave it as it was."""
    if request.param == "sqlite":
        place = str(tmp_path_factory.mktemp("shared") / "book.db")
    else:
        place = request.getfixturevalue("postgres").new_database()
    with store.open_book(place) as opened:
        yield opened


@pytest.fixture
def kept(where):
    """An open, empty book."""
    with store.open_book(where) as opened:
        yield opened
