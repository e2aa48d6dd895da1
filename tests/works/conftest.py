"""The demo's works as fixtures: written once a session, copied for every test that may write."""

import fcntl
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from wareleaf.works.demo import faults, generate
from wareleaf.works.demo.opening import open_demo
from wareleaf.works.house import Works

SHORT_DAYS = 9
_WRITTEN = {"demo_folder", "month_folder", "clean_folder"}


@pytest.hookimpl(tryfirst=True)  # before the marks are looked at
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A test on a written demo is slow: the first of them waits until the demo is there."""
    for item in items:
        if _WRITTEN.intersection(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.slow)


@pytest.fixture(scope="session")
def shared(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all workers of a parallel session see."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if hasattr(request.config, "workerinput") else base


def _once(shared: Path, name: str, days: int, planted: faults.Faults) -> Path:
    """Write a demo folder, whichever worker comes first."""
    folder = shared / name
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            generate.generate(folder, days=days, faults=planted).book.close()
    return folder


@pytest.fixture(scope="session")
def demo_folder(shared: Path) -> Path:
    """Nine days of the demo, with what goes wrong in them; only to read. Takes some ten seconds."""
    return _once(shared, "demo-short", SHORT_DAYS, faults.PLANTED)


@pytest.fixture(scope="session")
def month_folder(shared: Path) -> Path:
    """The whole demo as people get it; only to read. Takes up to a minute."""
    return _once(shared, "demo-month", 30, faults.PLANTED)


@pytest.fixture(scope="session")
def clean_folder(shared: Path) -> Path:
    """Nine days in which nothing goes wrong; only to read."""
    return _once(shared, "demo-clean", SHORT_DAYS, faults.NONE)


def _copy(folder: Path, to: Path) -> Iterator[Works]:
    works = open_demo(Path(shutil.copytree(folder, to)))
    yield works
    works.book.close()


@pytest.fixture
def demo_works(demo_folder: Path, tmp_path: Path) -> Iterator[Works]:
    """Nine days of the demo, a copy of its own to write in, on the demo's clock."""
    yield from _copy(demo_folder, tmp_path / "works")


@pytest.fixture
def month_works(month_folder: Path, tmp_path: Path) -> Iterator[Works]:
    """The whole demo, a copy of its own to write in, on the demo's clock."""
    yield from _copy(month_folder, tmp_path / "month")


@pytest.fixture
def clean_works(clean_folder: Path, tmp_path: Path) -> Iterator[Works]:
    """Nine clean days, a copy of its own to write in, on the demo's clock."""
    yield from _copy(clean_folder, tmp_path / "clean")
