"""A small works with a day half done, made through the jobs of the works themselves."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from http.cookiejar import Cookie
from pathlib import Path
from zoneinfo import ZoneInfo

from starlette.testclient import TestClient

from wareleaf.web.session import secret
from wareleaf.works import bench, demo, handle_lot, people
from wareleaf.works.house import Works, create_works, open_works
from wareleaf.works.pack_lot import PackRun, pack
from wareleaf.works.record import Entry, record
from wareleaf.works.run_stage import Off, finish_run, record_reading, start_run
from wareleaf.works.take_in import Load, take_in

PIN = "2468"
DEMO = Path(demo.__file__).parent / "works.toml"


@dataclass
class Clock:
    """A clock that tests move by hand."""

    now: datetime = field(
        default_factory=lambda: datetime(2026, 5, 12, 5, 30, tzinfo=ZoneInfo("Atlantic/Azores"))
    )

    def __call__(self) -> datetime:
        return self.now

    def later(self, hours: float) -> None:
        self.now += timedelta(hours=hours)


@dataclass
class Seeded:
    """The works, its clock, and the lots and runs that tests speak of."""

    works: Works
    clock: Clock
    lots: dict[str, str]
    runs: dict[str, str]


def seed(folder: Path) -> Seeded:
    """A morning at both sites: leaf in, some of it dried and held, a trough and a belt running."""
    clock = Clock()
    works = replace(create_works(folder, DEMO), clock=clock)
    for person in works.settings.person:
        people.set_pin(works, person.id, PIN)
    lots: dict[str, str] = {}
    runs: dict[str, str] = {}

    def load(name: str, who: str, source: str, gross: float, scale: str, **more: object) -> None:
        made = take_in(works, who, Load(source, gross, 40.0, scale, **more))[1]  # type: ignore[arg-type]
        lots[name] = made.lot_id

    def stage(name: str, who: str, machine: str, of: str, hours: float, *off: Off) -> None:
        run = start_run(works, who, machine, [lots[of]])
        clock.later(hours)
        for at, made in enumerate(finish_run(works, who, run, list(off))):
            lots[name + (str(at + 1) if at else "")] = made.lot_id

    wet, scale = "kelp-quick", "kelp-floor-scale"
    load(
        "kelp",
        "teo",
        "line-01",
        640.0,
        "quay-scale",
        moisture_wb=0.90,
        moisture_meter=wet,
        ticket_kg=600.5,
    )
    load("kelp b", "teo", "line-02", 545.0, "quay-scale", ticket_kg=560.0)
    load(
        "tea",
        "davin",
        "field-a",
        1040.0,
        "leaf-scale",
        moisture_wb=0.77,
        moisture_meter="tea-quick",
    )
    clock.later(0.3)
    runs["trough"] = start_run(works, "davin", "trough-1", [lots["tea"]])
    stage("washed", "teo", "wash-1", "kelp", 0.5, Off(597.0, 0.902, wet, scale, place="wash bay"))
    stage("blanched", "teo", "bath-1", "washed", 0.9, Off(622.0, 0.912, wet, scale, place="rack 1"))
    stage("dried", "runa", "belt-1", "blanched", 3.3, Off(60.4, 0.101, wet, scale))
    stage(
        "flake",
        "runa",
        "mill-1",
        "dried",
        0.5,
        Off(38.0, 0.10, wet, scale, form="flake"),
        Off(21.8, 0.098, wet, scale, form="powder"),
    )
    bench.take_sample(works, "mirel", lots["flake"], 200, note="iodine")
    handle_lot.hold(works, "bex", lots["flake2"], "smells burnt")
    record_reading(works, "davin", run_id=runs["trough"], meter="tea-quick", value=0.735)
    stage("washed b", "runa", "wash-1", "kelp b", 0.4, Off(503.0, 0.918, wet, scale))
    load("wakame", "teo", "line-11", 380.0, "quay-scale", ticket_kg=341.0)
    stage(
        "wakame washed", "teo", "wash-1", "wakame", 0.4, Off(338.0, 0.90, wet, scale, place="bay 2")
    )
    runs["belt"] = start_run(works, "runa", "belt-2", [lots["wakame washed"]], {"residence_h": 1.4})
    load("tea b", "davin", "field-b", 620.0, "leaf-scale")
    clock.later(0.3)
    record_reading(works, "davin", run_id=runs["trough"], meter="tea-quick", value=0.702)
    secret(works)  # so that all copies share it
    return Seeded(works, clock, lots, runs)


def copy_of(made: Seeded, folder: Path) -> Seeded:
    """The same works in a folder of its own, at the same moment."""
    shutil.copytree(made.works.folder, folder)
    clock = Clock(made.clock.now)
    return Seeded(open_works(folder, clock), clock, dict(made.lots), dict(made.runs))


_SIGNED_IN: dict[tuple[str, str], list[Cookie]] = {}


def sign_in(client: TestClient, who: str) -> TestClient:
    """Sign a person in as the page does; on a copy of the same works by the same cookie.

    Stretching a PIN takes longer than most pages.
    """
    asked = (secret(client.app.state.works), who)  # type: ignore[attr-defined]
    if asked not in _SIGNED_IN:
        answer = client.post("/sign-in", data={"who": who, "pin": PIN}, follow_redirects=False)
        assert answer.status_code == 303
        _SIGNED_IN[asked] = list(client.cookies.jar)
    for cookie in _SIGNED_IN[asked]:  # with its domain, so that a later answer replaces it
        client.cookies.jar.set_cookie(cookie)
    return client


def packed_and_free(seeded: Seeded, market: str) -> str:
    """Forty packs of the flake, released for a market by the quality manager's entry."""
    works = seeded.works
    run = PackRun(
        "kelp-flake-500", {seeded.lots["flake"]: 20.2}, 40, [500.5] * 40, "kelp-pack-balance"
    )
    lot = pack(works, "jorun", run)
    facts = {"lot_id": lot.lot_id, "markets": [market]}
    record(works, Entry(kind="release", site=lot.site, who="bex", facts=facts))
    return lot.lot_id
