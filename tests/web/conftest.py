"""Fixtures: a small works with a day half done, made once and copied for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_works import Seeded, copy_of, seed, sign_in

from wareleaf.web.app import create_app


@pytest.fixture(scope="session")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Seeded:
    """The works that every test starts from; closed, only to be copied."""
    made = seed(tmp_path_factory.mktemp("morning") / "works")
    made.works.book.close()
    return made


@pytest.fixture
def seeded(morning: Seeded, tmp_path: Path) -> Iterator[Seeded]:
    """A copy of the morning's works."""
    made = copy_of(morning, tmp_path / "works")
    yield made
    made.works.book.close()


@pytest.fixture
def client(seeded: Seeded) -> Iterator[TestClient]:
    """The manager, signed in."""
    with TestClient(create_app(seeded.works)) as made:
        yield sign_in(made, "ilsa")


@pytest.fixture
def as_who(seeded: Seeded) -> Iterator[Any]:
    """Sign different people in, each on a tablet of their own."""
    app = create_app(seeded.works)
    made: list[TestClient] = []

    def enter(who: str) -> TestClient:
        made.append(TestClient(app))
        return sign_in(made[-1], who)

    yield enter
    for client in made:
        client.close()
