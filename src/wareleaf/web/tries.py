"""Slows down guessing of PINs: after a few wrong ones a name has to wait. Kept in this process."""

from __future__ import annotations

import threading
import time

FREE = 5
WAIT_S = 30.0

_LOCK = threading.Lock()
_WRONG: dict[str, tuple[int, float]] = {}


def wait_s(who: str) -> float:
    """Seconds that a name still has to wait; 0 when it may try."""
    with _LOCK:
        count, last = _WRONG.get(who, (0, 0.0))
    return max(0.0, last + WAIT_S - time.monotonic()) if count >= FREE else 0.0


def note(who: str, fits: bool) -> None:
    """Note how a try ended; a right PIN clears the name."""
    with _LOCK:
        if fits:
            _WRONG.pop(who, None)
        else:
            if len(_WRONG) > 1000:
                _WRONG.clear()
            _WRONG[who] = (_WRONG.get(who, (0, 0.0))[0] + 1, time.monotonic())
