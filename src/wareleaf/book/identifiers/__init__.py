"""GS1 identifiers: check digits, element strings, Digital Links."""

from wareleaf.book.identifiers.check_digit import (
    check_digit,
    has_good_check_digit,
    with_check_digit,
)
from wareleaf.book.identifiers.elements import Element, bracketed, elements_of, raw, read
from wareleaf.book.identifiers.links import link_of, read_link
from wareleaf.book.identifiers.scan import (
    fields_on_label,
    lots_it_may_name,
    scanned,
    without_symbology,
)
from wareleaf.book.identifiers.table import Identifier, identifiers

__all__ = [
    "Element",
    "Identifier",
    "bracketed",
    "check_digit",
    "elements_of",
    "fields_on_label",
    "has_good_check_digit",
    "identifiers",
    "link_of",
    "lots_it_may_name",
    "raw",
    "read",
    "read_link",
    "scanned",
    "with_check_digit",
    "without_symbology",
]
