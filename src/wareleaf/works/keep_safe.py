"""Keep a works safe: copy book and settings into a folder, bring them back, salvage the rest."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from wareleaf.measure.errors import BadInput
from wareleaf.store import BookUnavailable, Salvaged, VerifyReport, backup, restore, salvage
from wareleaf.works.house import BOOK_FILE, SETTINGS_FILE, URL_FILE, Works, book_address
from wareleaf.works.settings import read_settings

BEYOND_FILE = "beyond-the-gap.json"


def back_up(works: Works, folder: Path) -> VerifyReport:
    """Copy the book, checked, and the settings into a new folder; work may go on meanwhile.

    Raises
    ------
    BadInput
        When the folder holds a works already or cannot be made; nothing is overwritten.
    BookUnavailable
        When the disk is full or cannot be written; nothing that looks like a backup is left.
    """
    with _new(folder):
        report = backup(book_address(works.folder), folder / BOOK_FILE)
        _copy(works.folder / SETTINGS_FILE, folder / SETTINGS_FILE)
    return report


def bring_back(source: Path, folder: Path, book_url: str = "") -> VerifyReport:
    """Make a works folder from a backup, checked.

    Raises
    ------
    BadInput
        When the source is no backup, the folder holds a works already, or the book in it does not
        verify.
    BookUnavailable
        When the disk is full or cannot be written.
    """
    _require_backup(source)
    with _new(folder):
        report = restore(source / BOOK_FILE, book_url or folder / BOOK_FILE)
        if book_url:
            (folder / URL_FILE).write_text(book_url + "\n", "utf-8")
        _copy(source / SETTINGS_FILE, folder / SETTINGS_FILE)
    return report


def salvage_works(source: Path, folder: Path, from_backup: Path | None = None) -> Salvaged:
    """Make a works folder of what can still be read of a damaged one, and of its last backup.

    What can be read after a gap in the chain is written to ``beyond-the-gap.json`` to be entered
    again by hand. The damaged folder is only read.

    Raises
    ------
    BadInput
        When the source holds no works, or not one event can be read.
    BookUnavailable
        When the disk is full or cannot be written.
    """
    settings = source / SETTINGS_FILE
    if from_backup is not None:
        _require_backup(from_backup)
        if not settings.is_file():
            settings = from_backup / SETTINGS_FILE
    if not settings.is_file():
        raise BadInput("folder", str(source), f"{source} holds no works: there is no {settings}.")
    read_settings(settings)
    with _new(folder):
        old = None if from_backup is None else from_backup / BOOK_FILE
        saved = salvage(book_address(source), folder / BOOK_FILE, old)
        if saved.beyond:
            events = [{"sequence": n, "event": json.loads(body)} for n, body in saved.beyond]
            text = json.dumps(events, ensure_ascii=False, indent=1)
            (folder / BEYOND_FILE).write_text(text + "\n", "utf-8")
        _copy(settings, folder / SETTINGS_FILE)
    return saved


def _require_backup(source: Path) -> None:
    for name in (SETTINGS_FILE, BOOK_FILE):
        if not (source / name).is_file():
            raise BadInput("backup", str(source), f"{source} is no backup: {name} is missing.")
    read_settings(source / SETTINGS_FILE)


@contextmanager
def _new(folder: Path) -> Iterator[None]:
    """A new works folder, taken away again when it does not become whole."""
    was_there = folder.exists()
    _make(folder)
    try:
        yield
    except BaseException:
        for name in (BOOK_FILE, SETTINGS_FILE, URL_FILE, BEYOND_FILE):
            with suppress(OSError):
                (folder / name).unlink(missing_ok=True)
        if not was_there:
            with suppress(OSError):
                folder.rmdir()
        raise


def _copy(source: Path, target: Path) -> None:
    try:
        shutil.copyfile(source, target)
        with target.open("rb+") as file:
            os.fsync(file.fileno())
    except OSError as error:
        raise BookUnavailable(
            f"{target} could not be written; no copy was made: {error.strerror or error}."
        ) from error


def _make(folder: Path) -> None:
    for name in (SETTINGS_FILE, BOOK_FILE, URL_FILE):
        if (folder / name).exists():
            raise BadInput(
                "folder", str(folder), f"{folder} already holds {name}; choose a new folder."
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            "folder", str(folder), f"{folder} cannot be made: {error.strerror}."
        ) from error
