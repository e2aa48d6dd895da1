"""Server time of the pages that are looked at all day, against a static file of the same server.

A small works is made through its own jobs (some forty lots, a bath and a belt running), served by
uvicorn on a port of this machine, and asked page by page over one kept-open connection, signed in.
The reference is the style sheet, from the same server in the same turns: what HTTP, the sign-in
check and the connection cost without any work of the trade. How many times longer a page takes
stands in the note. The target is for the page's own time: it should be there before a finger has
left the glass (300 ms, our own choice). Time covers the whole answer, without what a browser does.
"""

from __future__ import annotations

import http.client
import statistics
import tempfile
import time
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode, urlsplit
from zoneinfo import ZoneInfo

from bench import Row
from wareleaf.web.background import served
from wareleaf.works import demo
from wareleaf.works.house import Works, create_works
from wareleaf.works.people import set_pin
from wareleaf.works.run_stage import Off, finish_run, record_reading, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(demo.__file__).parent / "works.toml"
PIN = "2468"
REPEATS = 15
LOADS = 10
TARGET_MS = "<= 300"
STATIC = "/static/style.css"


class Clock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 8, 5, 0, tzinfo=ZoneInfo("Atlantic/Azores"))

    def __call__(self) -> datetime:
        return self.now

    def later(self, hours: float) -> None:
        self.now += timedelta(hours=hours)


def _stage(works: Works, clock: Clock, machine: str, lot: str, hours: float, off: Off) -> str:
    run = start_run(works, "teo", machine, [lot])
    clock.later(hours)
    return finish_run(works, "teo", run, [off])[0].lot_id


def _small_works(folder: Path) -> tuple[Works, str]:
    """A morning at the kelp works; returns the works and a dried lot with a history."""
    clock = Clock()
    works = replace(create_works(folder, SETTINGS), clock=clock)
    set_pin(works, "ilsa", PIN)
    meter, scale = "kelp-quick", "kelp-floor-scale"
    dried = ""
    for n in range(LOADS):
        load = Load("line-01", 640.0 + n, 40.0, "quay-scale", ticket_kg=600.0)
        lot = take_in(works, "teo", load)[1].lot_id
        lot = _stage(works, clock, "wash-1", lot, 0.4, Off(598.0, 0.902, meter, scale))
        lot = _stage(works, clock, "bath-1", lot, 0.8, Off(620.0, 0.912, meter, scale))
        dried = _stage(works, clock, "belt-1", lot, 3.0, Off(60.0, 0.10, meter, scale))
    _leave_running(works, clock)
    return works, dried


def _leave_running(works: Works, clock: Clock) -> None:
    lot = take_in(works, "teo", Load("line-02", 540.0, 40.0, "quay-scale"))[1].lot_id
    lot = _stage(works, clock, "wash-1", lot, 0.4, Off(498.0, 0.90, "kelp-quick", "quay-scale"))
    start_run(works, "teo", "bath-1", [lot])
    take_in(works, "teo", Load("line-05", 640.0, 40.0, "quay-scale"))
    lot = take_in(works, "teo", Load("line-11", 340.0, 40.0, "quay-scale"))[1].lot_id
    lot = _stage(works, clock, "wash-1", lot, 0.3, Off(298.0, 0.90, "kelp-quick", "quay-scale"))
    run = start_run(works, "teo", "belt-2", [lot])
    clock.later(0.5)
    record_reading(works, "teo", run_id=run, meter="kelp-quick", value=0.12)


def _sign_in(connection: http.client.HTTPConnection) -> str:
    body = urlencode({"who": "ilsa", "pin": PIN})
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    connection.request("POST", "/sign-in", body, form)
    answer = connection.getresponse()
    answer.read()
    cookie = answer.getheader("Set-Cookie") or ""
    if answer.status != 303 or not cookie:
        raise RuntimeError(f"sign-in answered {answer.status}")
    return cookie.split(";", 1)[0]


def _get(connection: http.client.HTTPConnection, path: str, cookie: str) -> tuple[float, int]:
    """Seconds to the last byte, and how many bytes."""
    start = time.perf_counter()
    connection.request("GET", path, headers={"Cookie": cookie})
    answer = connection.getresponse()
    content = answer.read()
    spent = time.perf_counter() - start
    if answer.status != 200:
        raise RuntimeError(f"{path} answered {answer.status}")
    return spent, len(content)


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        works, lot = _small_works(Path(folder) / "works")
        pages = {
            "day": "/",
            "floor": "/floor",
            "lots": "/lots",
            "lot": f"/lots/{lot}",
            "trace": f"/trace/{lot}",
        }
        paths = [STATIC, *pages.values()]
        times: dict[str, list[float]] = {path: [] for path in paths}
        sizes: dict[str, int] = {}
        with served(works) as address:
            connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=30.0)
            cookie = _sign_in(connection)
            for n in range(REPEATS + 1):
                for path in paths:
                    spent, sizes[path] = _get(connection, path, cookie)
                    if n:  # the first turn warms up
                        times[path].append(spent)
            connection.close()
        lots = len(works.book.lots())
        works.book.close()
    static_ms = 1e3 * statistics.median(times[STATIC])
    rows = []
    for name, path in pages.items():
        found = sorted(times[path])
        ours_ms = 1e3 * statistics.median(found)
        slow_ms = 1e3 * found[-1]
        times_static = f"{ours_ms / static_ms:.1f} times a static file"
        note = f"{times_static}; {lots} lots, {sizes[path] / 1024:.0f} KB; slowest {slow_ms:.0f} ms"
        rows.append(Row(f"page {name}", ours_ms, static_ms, None, "ms", TARGET_MS, note))
    return rows
