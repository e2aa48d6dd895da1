"""Results that take long to compute and depend on nothing but their key, kept in the works folder.

A file beside the book, which may be deleted at any time: what is missing is computed again. The key
is made of all that a result was made from, so a correction asks under another key.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wareleaf.works.house import SETTINGS_FILE, Works

KEPT_FILE = "computed.json"
MOST = 20_000  # results; the oldest go first
_WRITE_AFTER = 8

_OPEN: dict[str, Kept] = {}
_LOCK = threading.RLock()


class Kept:
    """Kept results of one works folder. Safe to share between threads."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._lock = threading.RLock()
        self._new = 0
        self._known: dict[str, Any] = _read(path)

    def get(self, key: str, make: Callable[[], Any]) -> Any:
        """What is kept under a key, or what ``make`` gives, kept from now on (JSON values)."""
        with self._lock:
            if key not in self._known:
                self._known[key] = make()
                self._new += 1
                while len(self._known) > MOST:
                    del self._known[next(iter(self._known))]
                if self._new >= _WRITE_AFTER:
                    self.write()
            return self._known[key]

    def write(self) -> None:
        """Put what is new on disk; a folder that cannot be written keeps it in memory only."""
        with self._lock:
            if self._path is None or not self._new:
                return
            self._new = 0
            with contextlib.suppress(OSError):
                handle, name = tempfile.mkstemp(dir=self._path.parent, prefix=".computed-")
                with os.fdopen(handle, "w", encoding="utf-8") as out:
                    json.dump(self._known, out, separators=(",", ":"))
                Path(name).replace(self._path)


def _read(path: Path | None) -> dict[str, Any]:
    if path is None or not path.exists():
        return {}
    try:
        known = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}  # a broken file is as good as none
    return known if isinstance(known, dict) else {}


def kept_in(works: Works) -> Kept:
    """The kept results of a works; in memory only where it has no folder of its own."""
    with _LOCK:
        name = f"{works.folder.resolve()} {works.book.engine.url}"
        if name not in _OPEN:
            own = (works.folder / SETTINGS_FILE).exists()
            _OPEN[name] = Kept(works.folder / KEPT_FILE if own else None)
        return _OPEN[name]


@atexit.register
def _write_all() -> None:
    for kept in _OPEN.values():
        kept.write()
