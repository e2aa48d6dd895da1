"""What the characters of a GS1 field may be: the content checks of the GS1 Syntax Dictionary.

Each check takes the text of one component and says in words what is wrong; empty when nothing is.
Names are those of the dictionary.
"""

from __future__ import annotations

import calendar
from collections.abc import Callable
from functools import cache
from importlib.resources import files

from wareleaf.book.identifiers.check_digit import has_good_check_digit

CSET82 = frozenset(
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
)


@cache
def countries() -> frozenset[str]:
    """ISO 3166-1 numeric codes."""
    text = files("wareleaf.book.identifiers").joinpath("data/countries.txt").read_text("utf-8")
    lines = [line for line in text.split("\n") if not line.startswith("#")]
    return frozenset(" ".join(lines).split())


def cset82(text: str) -> str:
    """Characters that a text field may hold."""
    bad = sorted(set(text) - CSET82)
    return (
        f"has characters that no barcode field may hold: {' '.join(map(repr, bad))}" if bad else ""
    )


def csetnumeric(text: str) -> str:
    """Digits only."""
    good = all("0" <= c <= "9" for c in text)
    return "" if good else "may hold digits only"


def csum(text: str) -> str:
    """The last digit is the check digit."""
    return "" if has_good_check_digit(text) else "has a wrong check digit"


def _number(length: int, most: int, what: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        good = len(text) == length and not csetnumeric(text) and int(text) <= most
        return "" if good else f"is no {what}"

    return check


hh, mi, ss = _number(2, 23, "hour"), _number(2, 59, "minute"), _number(2, 59, "second")


def hhmi(text: str) -> str:
    """Hour and minute."""
    if len(text) != 4:
        return "is no time like 0630"
    return hh(text[:2]) or mi(text[2:])


def _date(text: str, *, day_zero: bool) -> str:
    wrong = "is no date like 260412"
    if len(text) != 6 or csetnumeric(text):
        return wrong
    year, month, day = int(text[:2]), int(text[2:4]), int(text[4:])
    if not 1 <= month <= 12:
        return wrong
    # 2000 stands for the century: leap years fall alike in 1950 to 2099
    last = calendar.monthrange(2000 + year, month)[1]
    return "" if (day_zero and day == 0) or 1 <= day <= last else wrong


def yymmd0(text: str) -> str:
    """A date; day 00 stands for the whole month."""
    return _date(text, day_zero=True)


def yymmdd(text: str) -> str:
    """A date with its day."""
    return _date(text, day_zero=False)


def iso3166(text: str) -> str:
    """A country."""
    return "" if text in countries() else "is no country (ISO 3166-1, three digits)"


def iso3166999(text: str) -> str:
    """A country, or 999 for several."""
    return "" if text == "999" else iso3166(text)


CHECKS: dict[str, Callable[[str], str]] = {
    "cset82": cset82,
    "csetnumeric": csetnumeric,
    "csum": csum,
    "hh": hh,
    "mi": mi,
    "ss": ss,
    "hhmi": hhmi,
    "yymmd0": yymmd0,
    "yymmdd": yymmdd,
    "iso3166": iso3166,
    "iso3166999": iso3166999,
}
NOT_CHECKED = frozenset({"gcppos1", "gcppos2"})
"""Company prefixes: that needs an online list."""
