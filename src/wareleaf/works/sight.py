"""What a question to the book may look at: the book as it is, or as it was known on a day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from wareleaf.book import (
    Book,
    Edge,
    Event,
    LotState,
    RunState,
    Trace,
    edges_of,
    lots_touched,
    trace_back,
    trace_forward,
)
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.settings import WorksSettings


class Records(Protocol):
    """What a recall or a trace asks of a book; a `BookStore` answers them too."""

    def events_in_force(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        since: datetime | None = None,
        until: datetime | None = None,
        lot_id: str | Iterable[str] | None = None,
    ) -> list[Event]: ...

    def lot(self, lot_id: str) -> LotState: ...

    def lots(self, *, ids: Iterable[str]) -> list[LotState]: ...

    def runs(
        self, site: str | None = None, *, ids: Iterable[str] | None = None
    ) -> list[RunState]: ...

    def trace_back(self, lot_id: str) -> Trace: ...

    def trace_forward(self, lot_id: str) -> Trace: ...


@dataclass(frozen=True)
class Sight:
    """A works seen at one moment.

    Parameters
    ----------
    settings : WorksSettings
        As they are; they keep no past.
    book : Records
        The book, or what was known of it.
    at : datetime
        The moment whose knowledge is shown.
    past : bool
        Whether that moment lies before now.
    """

    settings: WorksSettings
    book: Records
    at: datetime
    past: bool = False

    def now(self) -> datetime:
        """The moment whose knowledge is shown."""
        return self.at


def sight(works: Works, known_on: datetime | None = None) -> Sight:
    """The works as it is, or as it was known at a moment, corrections of later left out.

    Raises
    ------
    BadInput
        When the moment has no time zone, has not come yet, or lies before the first entry.
    """
    now = works.now()
    if known_on is None:
        return Sight(works.settings, works.book, now)
    if known_on.tzinfo is None:
        raise BadInput(
            "known_on", known_on.isoformat(), "known_on has no time zone; give its offset."
        )
    at = known_on.astimezone(works.settings.zone)
    if at > now:
        raise BadInput(
            "known_on",
            at.isoformat(),
            f"known_on is {at:%Y-%m-%d %H:%M}; that has not come yet.",
        )
    then = works.book.as_known_at(at)
    if not then.events:
        raise BadInput(
            "known_on",
            at.isoformat(),
            f"known_on is {at:%Y-%m-%d %H:%M}; the book had no entry yet.",
        )
    return Sight(works.settings, KnownThen(then), at, past=True)


class KnownThen:
    """A folded book that answers what an open one answers."""

    def __init__(self, then: Book):
        self._then = then
        self._events = sorted(then.events, key=lambda e: e.happened_at)
        self._by_lot: dict[str, list[int]] = {}
        for place, event in enumerate(self._events):
            for lot_id in lots_touched(event):
                self._by_lot.setdefault(lot_id, []).append(place)

    def events_in_force(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        since: datetime | None = None,
        until: datetime | None = None,
        lot_id: str | Iterable[str] | None = None,
    ) -> list[Event]:
        """Events with corrections in place, in order of happening."""
        kinds = None if kind is None else {kind} if isinstance(kind, str) else set(kind)
        events = self._events if lot_id is None else self._touching(lot_id)
        return [
            e
            for e in events
            if (kinds is None or e.kind in kinds)
            and (since is None or e.happened_at >= since)
            and (until is None or e.happened_at < until)
        ]

    def _touching(self, lot_id: str | Iterable[str]) -> list[Event]:
        if isinstance(lot_id, str):
            return [self._events[i] for i in self._by_lot.get(lot_id, ())]
        places = {i for each in lot_id for i in self._by_lot.get(each, ())}
        return [self._events[i] for i in sorted(places)]

    def lot(self, lot_id: str) -> LotState:
        """One lot as it was then."""
        if lot_id not in self._then.lots:
            raise BadInput("lot_id", lot_id, f"There was no lot {lot_id} in the book then.")
        return self._then.lots[lot_id]

    def lots(self, *, ids: Iterable[str]) -> list[LotState]:
        """Lots as they were then, oldest first; unknown ones are left out."""
        found = [self._then.lots[k] for k in dict.fromkeys(ids) if k in self._then.lots]
        return sorted(found, key=lambda k: (k.made_at, k.lot_id))

    def runs(self, site: str | None = None, *, ids: Iterable[str] | None = None) -> list[RunState]:
        """Stage runs by start."""
        wanted = None if ids is None else set(ids)
        found = [
            r
            for r in self._then.runs.values()
            if (site is None or r.site == site) and (wanted is None or r.run_id in wanted)
        ]
        return sorted(found, key=lambda r: (r.started_at, r.run_id))

    def trace_back(self, lot_id: str) -> Trace:
        """Everything that a lot was made of, by what was known then."""
        return trace_back(self._edges(), lot_id, self.lot(lot_id).dry_g)

    def trace_forward(self, lot_id: str) -> Trace:
        """Everything that had been made of a lot, by what was known then."""
        return trace_forward(self._edges(), lot_id, self.lot(lot_id).dry_g)

    def _edges(self) -> Iterator[Edge]:
        return (edge for event in self._then.events for edge in edges_of(event))
