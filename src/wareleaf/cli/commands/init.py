"""Make a works of your own from a settings file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import answer, answering, json_option, next_step
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.works.house import Works
    from wareleaf.works.settings import WorksSettings


@click.command("init")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--settings",
    "settings_from",
    type=click.Path(path_type=Path),
    help="Your settings file; FOLDER/works.toml when left out.",
)
@click.option(
    "--example",
    is_flag=True,
    help="Only put the demo's settings into FOLDER/works.toml, for you to change.",
)
@click.option("--book-url", default="", help="postgresql://... to keep the book there.")
@click.option("--pin", help="One PIN for everyone to begin with; asked for each when left out.")
@json_option
def command(
    folder: Path,
    settings_from: Path | None,
    example: bool,
    book_url: str,
    pin: str | None,
    as_json: bool,
) -> None:
    """Make a works in FOLDER from a settings file, and set everyone's PIN.

    Start with --example, change the file to your own works, then run init again without it.
    """
    with answering(as_json):
        if example:
            path = _put_example(folder)
            lines = [
                f"The demo's settings are in {path}. Every name and number in them is invented.",
                next_step(f"settings check {path}, when you have made them yours"),
            ]
            answer(as_json, {"settings": str(path)}, lines)
            return
        settings = _settings(folder, settings_from)
        pins = _pins(settings, pin, as_json)
        works = _create(folder, settings_from, book_url)
        try:
            for person, theirs in pins.items():
                _set_pin(works, person, theirs)
        finally:
            works.book.close()
        sites = ", ".join(s.name for s in settings.site)
        lines = [
            f"{settings.firm.name} is set up in {folder}: {sites}; {len(pins)} people have a PIN.",
            next_step(f"serve {folder}"),
        ]
        answer(as_json, {"folder": str(folder), "people": list(pins)}, lines)


def _put_example(folder: Path) -> Path:
    from wareleaf.works.demo.generate import settings_file
    from wareleaf.works.house import SETTINGS_FILE

    path = folder / SETTINGS_FILE
    if path.exists():
        raise BadInput("folder", str(folder), f"{path} is there already; it was left as it is.")
    folder.mkdir(parents=True, exist_ok=True)
    path.write_bytes(settings_file().read_bytes())
    return path


def _settings(folder: Path, settings_from: Path | None) -> WorksSettings:
    from wareleaf.works.house import SETTINGS_FILE
    from wareleaf.works.settings import read_settings

    path = settings_from or folder / SETTINGS_FILE
    if not path.exists():
        raise BadInput(
            "settings",
            str(path),
            f"There is no settings file {path}; name yours with --settings, or get one to change "
            f"with: wareleaf init {folder} --example",
        )
    return read_settings(path)


def _pins(settings: WorksSettings, pin: str | None, as_json: bool) -> dict[str, str]:
    """Everyone's PIN, checked before anything is made."""
    if pin is None and as_json:
        raise BadInput("pin", None, "Give --pin with --json; there is nobody to ask.")
    if pin is not None:
        _check_pin(pin)
        return {person.id: pin for person in settings.person}
    asked = {}
    for person in settings.person:
        typed = click.prompt(
            f"PIN of {person.name}", hide_input=True, confirmation_prompt=True, err=True
        )
        _check_pin(typed)
        asked[person.id] = typed
    return asked


def _check_pin(pin: str) -> None:
    from wareleaf.works.people import PIN_LENGTHS

    if not pin.isdigit() or len(pin) not in PIN_LENGTHS:
        raise BadInput("pin", "", "A PIN is 4 to 12 digits.")


def _create(folder: Path, settings_from: Path | None, book_url: str) -> Works:
    from wareleaf.works.house import BOOK_FILE, SETTINGS_FILE, URL_FILE, create_works, open_works

    if settings_from is not None:
        return create_works(folder, settings_from, book_url)
    if (folder / BOOK_FILE).exists() or (folder / URL_FILE).exists():
        raise BadInput("folder", str(folder), f"{folder} already holds a works; choose another.")
    if book_url:
        (folder / URL_FILE).write_text(book_url + "\n", "utf-8")
    assert (folder / SETTINGS_FILE).exists()
    return open_works(folder, new=True)


def _set_pin(works: Works, person: str, pin: str) -> None:
    from wareleaf.works.people import set_pin

    set_pin(works, person, pin)
