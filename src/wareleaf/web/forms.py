"""What a person typed: read gently, kept for showing again, with every problem at its field."""

from __future__ import annotations

import re
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from datetime import datetime

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.store import BookUnavailable
from wareleaf.web import session

LONGEST_TEXT = 4000
_TWO_MEANINGS = re.compile(r"[1-9]\d{0,2}(,\d{3})+")


class Entered:
    """The fields of a form or of an address, as text.

    Reading a field that is wrong notes a problem and goes on, so that a person sees all of them at
    once; call `check` before using what was read.

    Parameters
    ----------
    pairs : sequence of (str, str)
        As sent.
    request : Request
        Where the works' time zone is found.
    """

    def __init__(self, pairs: Sequence[tuple[str, str]], request: Request):
        self.values: dict[str, list[str]] = {}
        for name, value in pairs:
            self.values.setdefault(name, []).append(value.strip())
        self.problems: list[Problem] = []
        self._zone = session.works_of(request).settings.zone

    def get(self, name: str, default: str = "") -> str:
        """A field as text; for templates too, which show what was typed."""
        found = self.values.get(name)
        return found[-1] if found else default

    def all(self, name: str) -> list[str]:
        """Every value of a field that can be ticked several times."""
        return [v for v in self.values.get(name, []) if v]

    def wrong(self, name: str, message: str) -> None:
        """Note a problem at a field."""
        self.problems.append(Problem(name, self.get(name), message))

    def text(self, name: str, label: str) -> str:
        """Text that must be there."""
        found = self.get(name)
        if not found:
            self.wrong(name, f"{label} is empty; fill it in.")
        return found

    def maybe(self, name: str, label: str, per: float = 1.0) -> float | None:
        """A number, or None when left empty; ``per`` as in `number`."""
        return self.number(name, label, per) if self.get(name) else None

    def number(self, name: str, label: str, per: float = 1.0) -> float:
        """A number that must be there, divided by ``per`` (100 for a percent field).

        A decimal comma is taken as a point; 1,250 is refused, because it may mean 1250 or 1.25.
        """
        typed = self.get(name)
        if not typed:
            self.wrong(name, f"{label} is empty; type a number.")
            return 0.0
        if _TWO_MEANINGS.fullmatch(typed):
            whole = typed.replace(",", "")
            self.wrong(
                name,
                f"{label} is {typed!r}, which may mean {whole} or {typed.replace(',', '.', 1)}; "
                "type it without the comma.",
            )
            return 0.0
        try:
            found = float(typed.replace(" ", "").replace(",", "."))
        except ValueError:
            self.wrong(name, f"{label} is {typed!r}; it must be a number such as 12.5.")
            return 0.0
        if not abs(found) < 1e12:
            self.wrong(name, f"{label} is {typed!r}; that is not a number that can be used.")
            return 0.0
        return found / per

    def percent(self, name: str, label: str) -> float:
        """A percent field as a fraction; 0.85 typed for 85 % is refused."""
        found = self.number(name, label, 100.0)
        if 0.0 < found < 0.01:
            self.wrong(
                name,
                f"{label} is {self.get(name)} %; type percent, such as {found * 1e4:.0f} "
                f"for {found * 1e4:.0f} %.",
            )
        return found

    def maybe_percent(self, name: str, label: str) -> float | None:
        """A percent field as a fraction, or None when left empty."""
        return self.percent(name, label) if self.get(name) else None

    def time(self, name: str, label: str) -> datetime | None:
        """A date and time on the works' clock, or None when left empty."""
        typed = self.get(name)
        if not typed:
            return None
        try:
            return datetime.fromisoformat(typed).replace(tzinfo=self._zone)
        except ValueError:
            self.wrong(name, f"{label} is {typed!r}; it must be a date and time.")
            return None

    def check(self) -> None:
        """Stop here when anything that was read is wrong.

        Raises
        ------
        BadInput
            With every problem noted.
        """
        if self.problems:
            raise BadInput.of(self.problems)


async def entered(request: Request) -> Entered:
    """Dependency of a page that takes a form.

    Raises
    ------
    BadInput
        For a field that is no typed line: far too long, or with characters nobody can type.
    """
    form = await request.form()
    pairs = [(k, v) for k, v in form.multi_items() if isinstance(v, str)]
    for name, value in pairs:
        if len(value) > LONGEST_TEXT:
            raise BadInput(
                name, value[:40], f"{name} is longer than {LONGEST_TEXT} characters; shorten it."
            )
        if "\x00" in value:
            raise BadInput(name, None, f"{name} holds a character that cannot be kept.")
    return Entered(pairs, request)


def asked(request: Request) -> Entered:
    """Dependency of a page that reads its address."""
    return Entered(request.query_params.multi_items(), request)


# A wet finger presses twice. Each form shown carries a number that is good for one recording; a
# second press is led to where the first one went. Kept in this process only.
_DONE: OrderedDict[str, str] = OrderedDict()
_LOCKS: OrderedDict[str, threading.Lock] = OrderedDict()
_GUARD = threading.Lock()
_MOST = 2000


def press_number() -> str:
    """A new number for a form."""
    return secrets.token_hex(8)


class NotSaved(BadInput):
    """The book could not take an entry now; the form is shown again as it was typed."""


def once(form: Entered, do: Callable[[], str]) -> Response:
    """Do a recording once for a form's number, then lead to the address it returns.

    Raises
    ------
    BadInput
        When the entry is refused, or (`NotSaved`) when the book cannot be written now.
    """
    try:
        return _once(form, do)
    except BookUnavailable as error:
        raise NotSaved("book", None, str(error)) from error


def _once(form: Entered, do: Callable[[], str]) -> Response:
    number = form.get("press")
    if not number:
        return RedirectResponse(do(), status_code=303)
    with _GUARD:
        lock = _LOCKS.setdefault(number, threading.Lock())
        while len(_LOCKS) > _MOST:
            _LOCKS.popitem(last=False)
    with lock:
        if number not in _DONE:
            address = do()
            with _GUARD:
                _DONE[number] = address
                while len(_DONE) > _MOST:
                    _DONE.popitem(last=False)
        return RedirectResponse(_DONE[number], status_code=303)
