"""The book in a database, open to read and write, with the people and settings kept beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput
from wareleaf.store import engine as engines
from wareleaf.store import last_seen, people, queries, rows, schema
from wareleaf.store.answers import Answers
from wareleaf.store.people import Person
from wareleaf.store.writing import Recorded, append_all


def open_book(url_or_path: str | Path, *, create: bool = True) -> BookStore:
    """Open a book, bringing its tables up to date.

    Parameters
    ----------
    url_or_path : str or Path
        ``works.db``, ``sqlite:///works.db`` or ``postgresql://user@host/name``.
    create : bool
        Make it when there is none.

    Raises
    ------
    BadInput
        When it cannot be opened.
    """
    return BookStore(engines.connect(url_or_path, create=create))


class BookStore(Answers):
    """A book that is open. Safe to share between threads; each call is its own transaction."""

    # writing

    def append(self, event: Event, *, now: datetime) -> Recorded:
        """Record one event; when this returns it is on disk.

        An empty ``event_id`` is filled. ``recorded_at`` is moved up to the last recorded time
        when it lies before it, so that the book's own time never runs backward.

        Raises
        ------
        BadInput
            When the event is refused; nothing is written.
        """
        return self.append_many([event], now=now)[0]

    def append_many(
        self,
        events: Iterable[Event],
        *,
        now: datetime,
        progress: Callable[[int], None] | None = None,
    ) -> list[Recorded]:
        """Record many events in order, all or nothing; ``progress`` is told how many are done."""
        rows.require_zone(now)
        with engines.writing(self._at) as connection:
            done = append_all(connection, events, now, progress)
        if done and self._at is self.engine:
            last_seen.note(self.engine, done[-1].sequence, done[-1].hash)
        return done

    @contextmanager
    def draft(self) -> Iterator[BookStore]:
        """The book inside one write transaction, for jobs that are all or nothing.

        What is recorded in the draft can be read in it at once. It is on disk when the block ends
        and gone when the block raises; nobody else writes meanwhile.
        """
        with engines.writing(self._at) as connection:
            yield BookStore(self.engine, connection, self._keeper.kept)
            sequence, digest, _ = queries.head(connection)
        if sequence and self._at is self.engine:
            last_seen.note(self.engine, sequence, digest)

    # people, settings, ids

    def people(self, active_only: bool = True) -> list[Person]:
        """Everyone, by name."""
        query = sa.select(schema.person).order_by(schema.person.c.name)
        if active_only:
            query = query.where(schema.person.c.active == 1)
        with engines.reading(self._at) as connection:
            return [people.get_person(r) for r in connection.execute(query).mappings()]

    def person(self, person_id: str) -> Person:
        """One person.

        Raises
        ------
        BadInput
            When there is none.
        """
        for someone in self.people(active_only=False):
            if someone.person_id == person_id:
                return someone
        raise BadInput("who", person_id, f"There is no person {person_id} in the book.")

    def set_person(
        self, person_id: str, name: str, role: str, pin_hash: str = "", active: bool = True
    ) -> Person:
        """Add or change a person."""
        someone = Person(person_id, name, role, pin_hash, active)
        with engines.writing(self._at) as connection:
            people.put_person(connection, someone)
        return someone

    def settings_get(self, key: str, default: Any = None) -> Any:
        """A setting kept in the book, plain JSON."""
        with engines.reading(self._at) as connection:
            return people.get_setting(connection, key, default)

    def settings_put(self, key: str, value: Any) -> None:
        """Keep a setting."""
        with engines.writing(self._at) as connection:
            people.put_setting(connection, key, value)

    def next_id(self, prefix: str, day: date) -> str:
        """A new readable id, such as ``K6-1204-03``; never given twice in a book."""
        with engines.writing(self._at) as connection:
            return people.next_id(connection, prefix, day)

    def next_ids(self, prefix: str, days: Sequence[date]) -> list[str]:
        """Several new ids in one transaction, one for each day given."""
        with engines.writing(self._at) as connection:
            return [people.next_id(connection, prefix, day) for day in days]
