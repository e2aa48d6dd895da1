"""A small works for tests: the demo's settings, an own book, a clock that the test moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.fresh_works import fresh_works

from wareleaf.book import LotState
from wareleaf.works.house import Works, open_works
from wareleaf.works.run_stage import Off, finish_run, start_run
from wareleaf.works.take_in import Load, take_in

ZONE = ZoneInfo("Atlantic/Azores")
START = datetime(2026, 5, 12, 6, 0, tzinfo=ZONE)
SCALES = {
    "kelp": ("quay-scale", "kelp-floor-scale", "kelp-oven"),
    "tea": ("leaf-scale", "tea-floor-scale", "tea-oven"),
}
CLERKS = {"kelp": "teo", "tea": "davin"}


@dataclass
class SmallWorks:
    """An open works and its clock."""

    works: Works
    at: datetime = START

    def now(self) -> datetime:
        return self.at

    def later(self, hours: float) -> datetime:
        self.at += timedelta(hours=hours)
        return self.at

    def take(self, source: str, kg: float, moisture: float | None = None) -> LotState:
        site = self.works.settings.source_of(source).site
        load = Load(source, kg, 0.0, SCALES[site][0], moisture_wb=moisture)
        return take_in(self.works, CLERKS[site], load)[1]

    def start(self, machine: str, *lots: str, **settings: float) -> str:
        site = self.works.settings.equipment_of(machine).site
        return start_run(self.works, CLERKS[site], machine, lots, settings)

    def finish(self, run_id: str, *off: tuple[float, float]) -> list[LotState]:
        run = self.works.book.runs(ids=[run_id])[0]
        _, scale, oven = SCALES[run.site]
        made: Sequence[Off] = [Off(kg, wb, oven, scale) for kg, wb in off]
        return finish_run(self.works, CLERKS[run.site], run_id, made)


def small_works(
    folder: Path, at: datetime = START, change: dict[str, str] | None = None
) -> SmallWorks:
    """Open a new works in a folder; ``change`` replaces text in the demo's settings."""
    text = resources.files("wareleaf.works.demo").joinpath("works.toml").read_text("utf-8")
    for old, new in (change or {}).items():
        assert old in text
        text = text.replace(old, new)
    settings = folder / "demo.toml"
    settings.write_text(text, "utf-8")
    fresh_works(folder / "works", settings).book.close()
    small = SmallWorks.__new__(SmallWorks)
    small.at = at
    small.works = open_works(folder / "works", lambda: small.at)
    return small
