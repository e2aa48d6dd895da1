"""Exchange: the book as EPCIS 2.0 documents, out and in."""

from wareleaf.book.exchange.arrivals import Arrival
from wareleaf.book.exchange.event_hash import event_hash
from wareleaf.book.exchange.export import CONTEXT, document
from wareleaf.book.exchange.naming import NAMESPACE, Naming
from wareleaf.book.exchange.reading import Imported, read_document
from wareleaf.book.exchange.rules import problems_of
from wareleaf.book.exchange.uris import canonical_uri

__all__ = [
    "CONTEXT",
    "NAMESPACE",
    "Arrival",
    "Imported",
    "Naming",
    "canonical_uri",
    "document",
    "event_hash",
    "problems_of",
    "read_document",
]
