"""The store: the book in SQLite or PostgreSQL. Thin; the rules live in `wareleaf.book`."""

from wareleaf.store.backing import backup, restore
from wareleaf.store.book_store import BookStore, open_book
from wareleaf.store.people import ROLES, Person
from wareleaf.store.queries import RecordedEvent
from wareleaf.store.salvaging import Salvaged, salvage
from wareleaf.store.troubles import BookUnavailable
from wareleaf.store.verifying import VerifyReport
from wareleaf.store.writing import Recorded

__all__ = [
    "ROLES",
    "BookStore",
    "BookUnavailable",
    "Person",
    "Recorded",
    "RecordedEvent",
    "Salvaged",
    "VerifyReport",
    "backup",
    "open_book",
    "restore",
    "salvage",
]
