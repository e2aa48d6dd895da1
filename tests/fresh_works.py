"""An empty works: its book is migrated once a process, then copied (a quarter of the time)."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path

from wareleaf.store import open_book
from wareleaf.works.house import BOOK_FILE, SETTINGS_FILE, Works, open_works


@cache
def _empty_book() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / BOOK_FILE
        open_book(path).close()
        return path.read_bytes()


def fresh_works(folder: Path, settings_from: Path) -> Works:
    """As `house.create_works`, which has tests of its own."""
    folder.mkdir(parents=True)
    (folder / BOOK_FILE).write_bytes(_empty_book())
    shutil.copyfile(settings_from, folder / SETTINGS_FILE)
    return open_works(folder)
