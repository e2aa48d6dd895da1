"""Write the demo: a fresh works folder with a season of history up to a morning in May.

The history is made in a folder beside the one asked for and moved there when it is complete, so
nothing half-made is left behind.
"""

from __future__ import annotations

import os
import random
import shutil
import tempfile
import time as ticking
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wareleaf.measure.errors import BadInput
from wareleaf.works import handle_lot
from wareleaf.works.demo import (
    goods_days,
    growing_days,
    kelp_days,
    lab_days,
    meter_days,
    pack_days,
    tea_days,
)
from wareleaf.works.demo.agenda import Agenda, Doing, hours
from wareleaf.works.demo.faults import PLANTED, Faults
from wareleaf.works.demo.opening import DEMO_DAY, NOW_H, PIN, open_demo
from wareleaf.works.demo.season import SUNDAY, Season
from wareleaf.works.demo.truth import Meters
from wareleaf.works.expected import announce
from wareleaf.works.house import Works, create_works
from wareleaf.works.kept import kept_in
from wareleaf.works.people import set_pin
from wareleaf.works.record import tokens_from
from wareleaf.works.settings import WorksSettings

Progress = Callable[[date, int, int], None]
LEFTOVER_S = 3600.0
# Who announced what, from where, kg and hours ahead. Invented.
CALLED_IN = (
    ("teo", "line-02", 900.0, 2.0),
    ("teo", "line-11", 600.0, 4.5),
    ("davin", "field-b", 1100.0, 3.5),
)
CORRECTED_DAYS_AGO = 12
HELD_DAYS_AGO = 9  # the day after wakame-type leaf was dried


def settings_file() -> Path:
    """The demo's settings, as shipped."""
    return Path(str(resources.files("wareleaf.works.demo").joinpath("works.toml")))


def generate(
    folder: Path,
    seed: int = 11,
    days: int = 30,
    progress: Progress | None = None,
    faults: Faults = PLANTED,
) -> Works:
    """Write a works folder with history and open it on the demo's clock.

    Parameters
    ----------
    folder : Path
        Must not hold a works yet.
    seed : int
        The same seed gives the same book, event by event.
    days : int
        Of history before the demo day's morning.
    progress : callable
        Told at each new day: the day, how many are done, of how many.
    faults : Faults
        What goes wrong, and when.

    Raises
    ------
    BadInput
        When the folder holds something already, or ``days`` is not from 1 to 200.
    """
    if folder.exists() and any(folder.iterdir()):
        raise BadInput("folder", str(folder), f"{folder} is not empty; name another folder.")
    if not 1 <= days <= 200:
        raise BadInput("days", days, f"days is {days}; it must be from 1 to 200.")
    folder.parent.mkdir(parents=True, exist_ok=True)
    _sweep(folder)
    making = Path(tempfile.mkdtemp(prefix=_prefix(folder), dir=folder.parent))
    try:
        _write(making, seed, days, progress, faults)
        if folder.exists():
            folder.rmdir()
        making.rename(folder)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    return open_demo(folder)


def renew(folder: Path, seed: int = 11, days: int = 30, progress: Progress | None = None) -> Works:
    """Write the demo anew over an old one; the old one stays until the new one is complete.

    Raises
    ------
    BadInput
        When the folder holds something that is no demo.
    """
    open_demo(folder).book.close()
    fresh = folder.with_name(f"{_prefix(folder)}fresh")
    shutil.rmtree(fresh, ignore_errors=True)
    generate(fresh, seed, days, progress).book.close()
    old = folder.with_name(f"{_prefix(folder)}old")
    shutil.rmtree(old, ignore_errors=True)
    folder.rename(old)
    fresh.rename(folder)
    shutil.rmtree(old, ignore_errors=True)
    return open_demo(folder)


def _prefix(folder: Path) -> str:
    return f".{folder.name}-making-"


def _sweep(folder: Path) -> None:
    """Remove what a killed generation left beside the folder, once it is an hour old."""
    for left in folder.parent.glob(f"{_prefix(folder)}*"):
        if ticking.time() - left.stat().st_mtime > LEFTOVER_S:
            shutil.rmtree(left, ignore_errors=True)


def _write(folder: Path, seed: int, days: int, progress: Progress | None, faults: Faults) -> None:
    folder.chmod(0o755)
    made = create_works(folder, settings_file())
    _in_haste(made)
    settings = made.settings
    first = DEMO_DAY - timedelta(days=days)
    agenda = Agenda(_morning(settings, first))
    works = replace(made, clock=agenda.clock)
    season = Season(works, agenda, seed, DEMO_DAY, faults, _meters(settings, faults))
    for person in settings.person:
        set_pin(works, person.id, PIN)
    until = datetime.combine(DEMO_DAY, time(), settings.zone) + hours(NOW_H)
    works.book.settings_put("demo", {"pin": PIN, "day": DEMO_DAY.isoformat(), "seed": seed})

    def new_day(day: date) -> None:
        _begin_day(season, day)
        if progress is not None:
            progress(day, (day - first).days, days)

    tokens = random.Random(f"wareleaf demo {seed}")
    with tokens_from(lambda n: f"{tokens.getrandbits(8 * n):0{2 * n}x}"):
        agenda.start(lab_days.confirm_limits(season))
        goods_days.number_pallets(season)
        _begin_day(season, first)
        agenda.start(_mornings(season))
        agenda.run(until, new_day)
        _call_in(works, until)
    kept_in(works).write()
    works.book.close()
    _on_disk(folder)


def _call_in(works: Works, now: datetime) -> None:
    """What is on its way when the demo opens: two boats and a lorry."""
    for who, source, mass_kg, due_h in CALLED_IN:
        announce(works, who, source, mass_kg, now + hours(due_h), "by radio")


def _morning(settings: WorksSettings, day: date) -> datetime:
    return datetime.combine(day, time(3, 30), settings.zone)


def _mornings(season: Season) -> Doing:
    """Keeps the days coming, also when nothing else happens."""
    while True:
        yield season.at(season.now.date() + timedelta(days=1), 3.5)


def _meters(settings: WorksSettings, faults: Faults) -> Meters:
    if faults.drift_from is None:
        return Meters(settings)
    start = _morning(settings, DEMO_DAY - timedelta(days=faults.drift_from))
    return Meters(settings, "kelp-quick", start, faults.drift_per_day)


def _begin_day(season: Season, day: date) -> None:
    """Everything that is to happen from a day on."""
    start = season.agenda.start
    for landing in kelp_days.landings(season, day):
        start(kelp_days.load(season, landing))
    for number, plucking in tea_days.pluckings(day):
        start(tea_days.load(season, day, number, plucking))
    if day.weekday() in tea_days.SIFTING_DAYS:
        start(tea_days.sifting(season, day))
    if day.weekday() != SUNDAY:
        start(meter_days.pairs(season, day))
    for site in ("kelp", "tea"):
        if pack_days.packs_today(site, day):
            start(pack_days.packing(season, site, day))
        if season.days_ago(day) == goods_days.RETURN_DAYS_AGO[site]:
            start(goods_days.returns(season, site, day))
    for doing in growing_days.site_work(season, day):
        start(doing)
    if season.days_ago(day) == CORRECTED_DAYS_AGO:
        start(_correction(season, day))
    if season.days_ago(day) == HELD_DAYS_AGO:
        start(_shells(season, day))


def _correction(season: Season, day: date) -> Doing:
    """A ticket number was read wrong; the manager puts it right, and both stay readable."""
    yield season.at(day, 17.1)
    taken = season.works.book.events(kind="intake", until=season.at(day, 0.0), newest_first=True)
    if not taken:
        return
    event = taken[0].event
    handle_lot.correct(
        season.works,
        "ilsa",
        event.event_id,
        "ticket number misread: the 7 is a 1",
        changes={"document": f"{event.document}/1"},
    )


def _shells(season: Season, day: date) -> Doing:
    """A wakame-type lot is held for small shells and freed before it is milled."""
    yield season.at(day, 6.9)
    dried = season.works.book.lots(
        site="kelp", leaf="wakame_blade", form="dried", in_stock_only=True
    )
    if dried:
        season.agenda.start(lab_days.hold_and_free(season, dried[-1].lot_id))


def _in_haste(works: Works) -> None:
    """Write without waiting for the disk: the folder counts only once it is complete."""
    engine = works.book.engine
    if engine.dialect.name != "sqlite":
        return
    engine.dispose()

    @sa.event.listens_for(engine, "connect")
    def _no_sync(connection: Any, _record: Any) -> None:
        connection.execute("PRAGMA synchronous=OFF").close()


def _on_disk(folder: Path) -> None:
    """Wait until everything in the folder is on disk."""
    for path in [*folder.iterdir(), folder]:
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
