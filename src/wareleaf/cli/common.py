"""What every command of the day shares: which works, who acts, plain or JSON answers, bad input.

Imports of the trade stay inside functions, so that ``wareleaf --help`` answers at once.
"""

from __future__ import annotations

import errno
import functools
import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.works.house import Works

WORKS_VARIABLE = "WARELEAF_WORKS"
WHO_VARIABLE = "WARELEAF_WHO"
USUAL_FOLDERS = (Path("works"), Path("var/demo"))
SETTINGS_FILE = "works.toml"


@dataclass(frozen=True)
class Job:
    """One call of a command: the open works and how it answers.

    Parameters
    ----------
    works : Works
        Open; closed when the command ends.
    who : str
        Person who acts; empty for commands that only read.
    as_json : bool
        Answer in JSON.
    """

    works: Works
    who: str
    as_json: bool

    def say(self, data: Any, lines: Iterable[str]) -> None:
        """Answer: ``data`` as JSON, or ``lines`` for people."""
        answer(self.as_json, data, lines)

    def at(self, text: str | None, field: str = "at") -> datetime | None:
        """A time as people type it, on the works' own clock unless it carries an offset."""
        return None if text is None else moment(text, self.works.settings.zone, field)

    def show(self, at: datetime) -> str:
        """A time as people read it."""
        return f"{at.astimezone(self.works.settings.zone):%Y-%m-%d %H:%M}"


def in_works(
    *, who: bool | Literal["asked"] = False
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command ``--works``, ``--json`` and, when it records, ``--who``.

    With ``who="asked"`` the command checks itself that someone acts, by `check_who`.
    """

    def wrap(run: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(run)
        def command(**given: Any) -> None:
            folder, as_json = given.pop("works_folder"), given.pop("as_json")
            person = given.pop("who", None) or ""
            with answering(as_json), opened(folder, quiet=as_json) as works:
                if who is True:
                    check_who(works, person)
                run(Job(works, person, as_json), **given)

        for option in _options(bool(who)):
            command = option(command)
        return command

    return wrap


def _options(who: bool) -> list[Callable[..., Any]]:
    options = [json_option, works_option]
    if who:
        options.append(
            click.option(
                "--who",
                envvar=WHO_VARIABLE,
                help=f"Your id in the settings; ${WHO_VARIABLE} when left out.",
            )
        )
    return options


json_option = click.option("--json", "as_json", is_flag=True, help="Answer in JSON.")
works_option = click.option(
    "--works",
    "works_folder",
    type=click.Path(path_type=Path),
    help=f"Folder of the works; ${WORKS_VARIABLE}, ./works or ./var/demo when left out.",
)


def find_folder(given: Path | None) -> tuple[Path, str]:
    """The works folder and where the choice came from.

    Raises
    ------
    BadInput
        When none is given and there is none in the usual places.
    """
    if given is not None:
        return given, "--works"
    from_variable = os.environ.get(WORKS_VARIABLE, "")
    if from_variable:
        return Path(from_variable), f"${WORKS_VARIABLE}"
    for folder in USUAL_FOLDERS:
        if (folder / SETTINGS_FILE).exists():
            return folder, "the usual place"
    raise BadInput(
        "works",
        None,
        f"Which works? Give --works FOLDER or set {WORKS_VARIABLE}; there is none in ./works or "
        "./var/demo. Make one with: wareleaf init FOLDER",
    )


@contextmanager
def opened(given: Path | None, *, quiet: bool) -> Iterator[Works]:
    """An open works; says which one when it was not named."""
    from wareleaf.works.clock import clock_trouble
    from wareleaf.works.demo.opening import demo_clock, is_demo
    from wareleaf.works.house import open_works

    folder, chosen_by = find_folder(given)
    if given is None and not quiet:
        click.echo(f"Works: {folder} (by {chosen_by})", err=True)
    works = open_works(folder)
    if is_demo(works):
        works = replace(works, clock=demo_clock(works))
    try:
        wrong = clock_trouble(works)
        if wrong:
            click.echo(f"wareleaf: {wrong}", err=True)
        yield works
    finally:
        works.book.close()


def check_who(works: Works, person: str) -> None:
    """Refuse to act for nobody.

    Raises
    ------
    BadInput
        With the people the works knows.
    """
    if not person:
        known = ", ".join(p.id for p in works.settings.person)
        raise BadInput(
            "who", None, f"Who are you? Give --who or set {WHO_VARIABLE}; there are: {known}."
        )


@contextmanager
def answering(as_json: bool) -> Iterator[None]:
    """Turn bad input into one sentence a problem and exit code 2, a full disk into exit code 1."""
    try:
        yield
    except BadInput as error:
        if as_json:
            from wareleaf.works.doors import error_body

            click.echo(json.dumps(error_body(error), default=str))
        else:
            for problem in error.problems:
                click.echo(f"wareleaf: {problem.message}", err=True)
        sys.exit(2)
    except Exception as error:
        words = trouble(error)
        if not words:
            raise
        if as_json:
            from wareleaf.works.doors import error_body

            click.echo(json.dumps(error_body(BadInput("book", None, words))))
        else:
            click.echo(f"wareleaf: {words}", err=True)
        sys.exit(1)


FILE_TROUBLES = {
    errno.ENOSPC: "the disk is full; make room on it, then try again",
    errno.EDQUOT: "your share of the disk is used up; make room, then try again",
    errno.EFBIG: "the file would be larger than is allowed here; ask who runs this computer",
    errno.EROFS: "that disk may only be read; name another place",
    errno.EACCES: "you may not write or read there; name another place, or ask for the right",
    errno.EIO: "the disk gave an error; see that it is there and sound",
}


def trouble(error: Exception) -> str:
    """One sentence for a book or a file that cannot be used now; empty for anything else."""
    if isinstance(error, OSError):
        why = FILE_TROUBLES.get(error.errno or 0, "")
        return f"{error.filename or 'A file'} could not be used: {why}." if why else ""
    from wareleaf.store.troubles import BookUnavailable

    return str(error) if isinstance(error, BookUnavailable) else ""


def answer(as_json: bool, data: Any, lines: Iterable[str]) -> None:
    """Print ``data`` as one JSON value, or ``lines``."""
    if as_json:
        from wareleaf.works.plain import plain

        click.echo(json.dumps(plain(data), allow_nan=False, ensure_ascii=False))
        return
    for line in lines:
        click.echo(line)


def moment(text: str, zone: Any, field: str) -> datetime:
    """A time such as ``2026-04-12 06:30``, on the clock of ``zone`` unless it carries an offset.

    Raises
    ------
    BadInput
        When it is no time.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise BadInput(
            field, text, f"{field} is {text!r}; give a time like 2026-04-12 06:30."
        ) from error
    return found if found.tzinfo else found.replace(tzinfo=zone)


def day(text: str, field: str) -> date:
    """A day such as ``2026-04-12``.

    Raises
    ------
    BadInput
        When it is no day.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise BadInput(field, text, f"{field} is {text!r}; give a day like 2026-04-12.") from error


def table(head: tuple[str, ...], rows: Iterable[Iterable[Any]]) -> list[str]:
    """Lines of a table with aligned columns; numbers must come as text."""
    cells = [head, *(tuple(str(c) for c in row) for row in rows)]
    if len(cells) == 1:
        return ["(none)"]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    return ["  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)).rstrip() for r in cells]


def write_file(path: Path, content: bytes) -> None:
    """Write a file that was asked for.

    Raises
    ------
    BadInput
        When it cannot be written.
    """
    try:
        path.write_bytes(content)
    except OSError as error:
        raise BadInput(
            "output", str(path), f"{path} cannot be written: {error.strerror}."
        ) from error


def kg(mass_g: float) -> str:
    """Grams as kilograms for people."""
    return f"{mass_g / 1000.0:,.3f}".rstrip("0").rstrip(".")


def percent(fraction: float) -> str:
    """A fraction as percent for people."""
    return f"{fraction * 100.0:.1f} %"


def next_step(text: str) -> str:
    """A line that says what to type next."""
    return f"Next: wareleaf {text}"
