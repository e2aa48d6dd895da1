"""An open works: its settings, its book, its weather and its clock, in one folder.

A works folder holds ``works.toml`` (the settings) and ``book.db`` (the book), or ``book.url`` with
the address of a PostgreSQL database instead of the file.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from wareleaf.measure.errors import BadInput
from wareleaf.works.settings import WorksSettings, read_settings

if TYPE_CHECKING:
    from wareleaf.store import BookStore
    from wareleaf.works.weather import Weather

SETTINGS_FILE = "works.toml"
BOOK_FILE = "book.db"
URL_FILE = "book.url"


def real_clock() -> datetime:
    """The time now, with its zone."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Works:
    """What every job of the day is given to work on.

    Parameters
    ----------
    settings : WorksSettings
        The works' own file.
    book : BookStore
        The open book.
    clock : callable
        Returns the time now; the demo runs on its own clock.
    folder : Path
        Where the works lives; weather files are looked up from here.
    """

    settings: WorksSettings
    book: BookStore
    clock: Callable[[], datetime] = real_clock
    folder: Path = Path()
    _weather: dict[str, Weather] = field(default_factory=dict, repr=False)

    def now(self) -> datetime:
        """The time now on the works' own clock."""
        return self.clock().astimezone(self.settings.zone)

    def weather(self, site_id: str) -> Weather:
        """Hourly weather of a site, read once."""
        if site_id not in self._weather:
            from wareleaf.works.weather import shipped_station, weather_for

            named = self.settings.site_of(site_id).weather
            if named.startswith("shipped:"):
                path = shipped_station(named.removeprefix("shipped:"))
            else:
                path = self.folder / named
            self._weather[site_id] = weather_for(path)
        return self._weather[site_id]


def book_address(folder: Path) -> str:
    """Where the book of a works folder is: a file, or the address in ``book.url``."""
    url_file = folder / URL_FILE
    if url_file.exists():
        return url_file.read_text("utf-8").strip()
    return str(folder / BOOK_FILE)


def open_works(
    folder: Path, clock: Callable[[], datetime] = real_clock, *, new: bool = False
) -> Works:
    """Open a works folder; its book is migrated to the present form if needed.

    A book that is not there is made only with ``new``: a works whose disk is not mounted must not
    begin an empty one.

    Raises
    ------
    BadInput
        When the folder holds no works, or its settings have a mistake.
    """
    from wareleaf.store import open_book

    settings_path = folder / SETTINGS_FILE
    if not settings_path.exists():
        raise BadInput(
            "folder",
            str(folder),
            f"{folder} holds no works; make one with: wareleaf init {folder}",
        )
    return Works(
        settings=read_settings(settings_path),
        book=open_book(book_address(folder), create=new),
        clock=clock,
        folder=folder,
    )


def create_works(folder: Path, settings_from: Path, book_url: str = "") -> Works:
    """Make a works folder from a settings file and open it; nothing is left behind on a mistake.

    Raises
    ------
    BadInput
        When the settings have a mistake or the folder already holds a works.
    """
    read_settings(settings_from)
    if (folder / SETTINGS_FILE).exists():
        raise BadInput("folder", str(folder), f"{folder} already holds a works; choose another.")
    was_there, book_was_there = folder.exists(), (folder / BOOK_FILE).exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if book_url:
            (folder / URL_FILE).write_text(book_url + "\n", "utf-8")
        shutil.copyfile(settings_from, folder / SETTINGS_FILE)
        return open_works(folder, new=True)
    except BaseException:
        # A book that cannot be opened leaves no works behind that looks finished.
        made = (SETTINGS_FILE, URL_FILE, *(() if book_was_there else (BOOK_FILE,)))
        for name in made:
            (folder / name).unlink(missing_ok=True)
        if not was_there:
            shutil.rmtree(folder, ignore_errors=True)
        raise
