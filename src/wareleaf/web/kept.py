"""Keep what takes long to work out until the book grows."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from fastapi import Request

from wareleaf.web import session

T = TypeVar("T")

_LOCK = threading.Lock()
MOST = 64
"""Answers kept at a time."""


def until_the_book_grows(request: Request, key: Hashable, work: Callable[[], T]) -> T:
    """What ``work`` gives on the book as it stands, worked out once for a key."""
    last = session.works_of(request).book.events(limit=1, newest_first=True)
    sequence = last[0].sequence if last else 0
    state: Any = request.app.state
    with _LOCK:
        if getattr(state, "kept_at", None) != sequence or len(state.kept) >= MOST:
            state.kept_at, state.kept = sequence, {}
        if key not in state.kept:
            state.kept[key] = work()
        found: T = state.kept[key]
        return found
