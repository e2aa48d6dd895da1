"""GS1 identifiers: check digits, element strings, Digital Links."""

from wareleaf.book.identifiers.check_digit import (
    check_digit,
    has_good_check_digit,
    with_check_digit,
)
from wareleaf.book.identifiers.elements import Element, bracketed, elements_of, raw, read
from wareleaf.book.identifiers.links import link_of, read_link
from wareleaf.book.identifiers.table import Identifier, identifiers

__all__ = [
    "Element",
    "Identifier",
    "bracketed",
    "check_digit",
    "elements_of",
    "has_good_check_digit",
    "identifiers",
    "link_of",
    "raw",
    "read",
    "read_link",
    "with_check_digit",
]
