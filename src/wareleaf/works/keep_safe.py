"""Keep a works safe: copy book and settings into a folder, and bring them back."""

from __future__ import annotations

import shutil
from pathlib import Path

from wareleaf.measure.errors import BadInput
from wareleaf.store import VerifyReport, backup, restore
from wareleaf.works.house import BOOK_FILE, SETTINGS_FILE, URL_FILE, Works, book_address
from wareleaf.works.settings import read_settings


def back_up(works: Works, folder: Path) -> VerifyReport:
    """Copy the book, checked, and the settings into a new folder; work may go on meanwhile.

    Raises
    ------
    BadInput
        When the folder holds a works already or cannot be made; nothing is overwritten.
    """
    _make(folder)
    report = backup(book_address(works.folder), folder / BOOK_FILE)
    shutil.copyfile(works.folder / SETTINGS_FILE, folder / SETTINGS_FILE)
    return report


def bring_back(source: Path, folder: Path, book_url: str = "") -> VerifyReport:
    """Make a works folder from a backup, checked.

    Raises
    ------
    BadInput
        When the source is no backup, the folder holds a works already, or the book in it does not
        verify.
    """
    for name in (SETTINGS_FILE, BOOK_FILE):
        if not (source / name).is_file():
            raise BadInput("backup", str(source), f"{source} is no backup: {name} is missing.")
    read_settings(source / SETTINGS_FILE)
    _make(folder)
    report = restore(source / BOOK_FILE, book_url or folder / BOOK_FILE)
    if not report.ok:
        raise BadInput("backup", str(source), f"The backup does not verify: {report.message}")
    if book_url:
        (folder / URL_FILE).write_text(book_url + "\n", "utf-8")
    shutil.copyfile(source / SETTINGS_FILE, folder / SETTINGS_FILE)
    return report


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
