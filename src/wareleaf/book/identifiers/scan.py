"""What a scanner gives, or a person types off a label, as fields: whichever way it was printed."""

from __future__ import annotations

import re
from collections.abc import Iterator

from wareleaf.book.identifiers.check_digit import has_good_check_digit
from wareleaf.book.identifiers.elements import SEPARATOR, Element, elements_of, read
from wareleaf.book.identifiers.links import read_link
from wareleaf.measure.errors import BadInput

_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
_ADDRESS = re.compile(r"(https?://)", re.IGNORECASE)
_SHOWN = re.compile(r"<GS>|\{GS\}|\[GS\]|\u241d")  # the separator as some scanners show it
_GTIN_LENGTHS = (8, 12, 13, 14)
_SSCC_LENGTH = 18
_LONGEST_LOT = 20


def scanned(text: str) -> tuple[Element, ...]:
    """Fields of what a scanner gave: a Digital Link or an element string.

    Raises
    ------
    BadInput
        For anything else, or fields that are wrong.
    """
    body = _SHOWN.sub(SEPARATOR, text.strip("\r\n "))
    bare = without_symbology(body)
    address = _ADDRESS.match(bare)
    if address:  # a keyboard with capitals on types the scheme in capitals
        return read_link(address[1].lower() + bare[address.end() :])
    return read(body)


def without_symbology(text: str) -> str:
    """A scan without the three characters that name its barcode (``]C1``, ``]Q1``...)."""
    return _SYMBOLOGY.sub("", text.strip())


def fields_on_label(text: str) -> tuple[Element, ...]:
    """The same as `scanned`, for text that may well be something else: empty when it is.

    A bare number with a right check digit is read as the key that has its length: 18 digits are
    an SSCC, 8, 12, 13 or 14 a GTIN.
    """
    bare = without_symbology(text).strip(SEPARATOR)
    if bare.isascii() and bare.isdigit() and has_good_check_digit(bare):
        if len(bare) == _SSCC_LENGTH:
            return elements_of({"00": bare})
        if len(bare) in _GTIN_LENGTHS:
            return elements_of({"01": bare.zfill(14)})
    try:
        return scanned(text)
    except BadInput:
        return ()


def lots_it_may_name(text: str) -> tuple[str, ...]:
    """Lot numbers that could stand in a scan whose separators were lost on the way, longest first.

    A scanner that types like a keyboard often drops the separator behind the lot number, so that
    nobody can tell where the number ends. Whoever knows the lots can: the longest that exists.
    """
    bare = _SHOWN.sub("", without_symbology(text)).replace(SEPARATOR, "")
    if not bare[:2].isdigit():
        return ()
    return tuple(sorted(set(_behind_lot_field(bare)), key=lambda k: (-len(k), k)))


def _behind_lot_field(bare: str) -> Iterator[str]:
    for found in re.finditer(r"(?=10)", bare):
        rest = bare[found.start() + 2 : found.start() + 2 + _LONGEST_LOT]
        yield from (rest[:n] for n in range(1, len(rest) + 1))
