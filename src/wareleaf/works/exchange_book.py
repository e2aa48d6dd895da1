"""Exchange the book with other works: a document out, a document in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from wareleaf.book import Event, lots_touched
from wareleaf.book.exchange import Imported, Naming, document, problems_of, read_document
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works

KEY = "exchange"
MOST_BYTES = 500_000_000


@dataclass(frozen=True)
class Written:
    """A document that was written."""

    path: Path
    events: int
    lots: int


def naming_of(works: Works) -> Naming:
    """How this works addresses its lots and places.

    Raises
    ------
    BadInput
        When it was never said.
    """
    kept = works.book.settings_get(KEY)
    if not isinstance(kept, dict):
        raise BadInput(
            "base",
            None,
            "It was never said how this works addresses its lots; say it once with: wareleaf "
            "exchange names --base https://example.com/trace/",
        )
    return Naming(**kept)


def set_naming(works: Works, naming: Naming) -> None:
    """Keep how lots and places are addressed.

    Raises
    ------
    BadInput
        When a product or a site is none of this works.
    """
    for field, given, known in (
        ("gtin", naming.gtin, [p.id for p in works.settings.product]),
        ("gln", [k.split("/")[0] for k in naming.gln], [s.id for s in works.settings.site]),
        (
            "party_gln",
            naming.party_gln,
            [*(c.id for c in works.settings.customer), *(s.id for s in works.settings.source)],
        ),
    ):
        for name in given:
            if name not in known:
                raise BadInput(
                    field, name, f"{field} names {name}; the settings know {', '.join(known)}."
                )
    works.book.settings_put(KEY, {k: _plain(v) for k, v in asdict(naming).items()})


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value


def document_of(works: Works, lot_id: str = "", *, private: bool = False) -> dict[str, Any]:
    """The book, or all that a lot was made of, as an EPCIS 2.0 document."""
    rows = works.book.events()
    events = [row.event for row in rows]
    if lot_id:
        works.book.lot(lot_id)
        wanted = {lot_id, *works.book.lots_above(lot_id)}
        events = _about(events, wanted)
    return document(events, naming_of(works), created=works.now(), private=private)


def _about(events: list[Event], lots: set[str]) -> list[Event]:
    """Events that touch some lots, with the corrections of them and the harvests they are of."""
    kept: set[str] = set()
    touching = [e for e in events if lots & set(lots_touched(e))]
    harvests = {e.facts.get("harvest") for e in touching} - {None}
    found = []
    for event in events:
        of_them = event.facts.get("harvest_id") in harvests
        if of_them or lots & set(lots_touched(event)) or event.corrects in kept:
            kept.add(event.event_id)
            found.append(event)
    return found


def checked_document(works: Works, lot_id: str = "", *, private: bool = False) -> dict[str, Any]:
    """The same, checked by the rules of exchange before it leaves the works.

    Raises
    ------
    BadInput
        With all that breaks them.
    """
    made = document_of(works, lot_id, private=private)
    problems = problems_of(made)
    if problems:
        raise BadInput.of(problems)
    return made


def write_out(works: Works, path: Path, lot_id: str = "", *, private: bool = False) -> Written:
    """Write a document; never over a file that is there."""
    if path.exists():
        raise BadInput("file", str(path), f"{path} exists already; name another file.")
    made = checked_document(works, lot_id, private=private)
    events = made["epcisBody"]["eventList"]
    lots = {
        item["epcClass"]
        for event in events
        for name, items in event.items()
        if name.endswith("uantityList")
        for item in items
    }
    path.write_text(json.dumps(made, ensure_ascii=False, indent=1) + "\n", "utf-8")
    return Written(path, len(events), len(lots))


def read_in(path: Path, naming: Naming) -> Imported:
    """Read a document from a file; nothing is recorded.

    Raises
    ------
    BadInput
        With all that is wrong with it.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadInput("file", str(path), f"{path} is larger than 500 MB; send it in parts.")
        data = json.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise BadInput("file", str(path), f"{path} cannot be read as JSON: {error}.") from error
    if not isinstance(data, dict):
        raise BadInput("file", str(path), f"{path} holds no JSON object.")
    return read_document(data, naming)


def make_book(found: Imported, path: Path) -> int:
    """Make a new book of the events of a document, to look into; the count of events.

    Raises
    ------
    BadInput
        When the file is there, or the events do not make a book.
    """
    from wareleaf.store import open_book

    if path.exists():
        raise BadInput("into", str(path), f"{path} exists already; name a new file.")
    if not found.events:
        raise BadInput("file", None, "The document carries no events of a book of this kind.")
    if not found.with_facts:
        raise BadInput(
            "file",
            None,
            "The document was written for customers: what the events need to make a book stayed at "
            "home. Ask for one that was written with --private.",
        )
    try:
        with open_book(path) as made:
            now = max(max(e.recorded_at, e.happened_at) for e in found.events)
            return len(made.append_many(found.events, now=now))
    except BadInput:
        path.unlink(missing_ok=True)
        raise
