"""Find what a label or a paper names: a lot, a run, a sample, a pallet, a paper, a customer.

A field takes whatever a hand scanner types or a person reads off. What has a number of its own is
looked up by it first; only when nothing has it are parts of names and papers looked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from wareleaf.book import Event, lots_touched
from wareleaf.book.identifiers import Element, fields_on_label, without_symbology
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.label_lot import LONGEST, lots_on_label, own_gtin

MOST_LOTS = 40
SHORTEST_PART = 3
"""Characters below which parts of names and papers are not looked for (our own choice)."""

_LOT, _PALLET, _PRODUCTS, _PAPERS = "10", "00", ("01", "02"), ("400", "401", "402", "403")

# Facts that stand on papers, bags or cars, and what they are called.
_ON_PAPERS = {
    "sample_id": "sample",
    "run_id": "run",
    "kit": "test kit",
    "laboratory": "laboratory",
    "harvest_id": "harvest",
    "harvest": "harvest",
    "film_batch": "film batch",
    "label_batch": "label batch",
    "vehicle": "vehicle",
    "sscc": "pallet",
    "pallet": "pallet",
}


@dataclass(frozen=True)
class Hit:
    """One thing that was found.

    Parameters
    ----------
    kind : str
        lot, run, sample, pallet, paper, entry (of the book), harvest, laboratory, test kit,
        vehicle, film batch, label batch, customer, source or product.
    name : str
        Its number or name.
    words : str
        More about it, or empty.
    lots : tuple of str
        Its lots, newest first, at most `MOST_LOTS`.
    total : int
        How many lots there are.
    exact : bool
        Whether the text is its whole number or name.
    """

    kind: str
    name: str
    words: str
    lots: tuple[str, ...]
    total: int
    exact: bool


@dataclass(frozen=True)
class Search:
    """What a text was read as, what was looked for, and what was found.

    Parameters
    ----------
    text : str
        As typed or scanned.
    fields : tuple of (str, str)
        Title and value of the GS1 fields in it; empty when it holds none.
    looked_for : tuple of str
        What each look-up was for, such as "a lot K6-0805-04".
    hits : tuple of Hit
        Best first.
    """

    text: str
    fields: tuple[tuple[str, str], ...]
    looked_for: tuple[str, ...]
    hits: tuple[Hit, ...]

    @property
    def only(self) -> Hit | None:
        """The one thing that the text names, when there is no doubt."""
        exact = [hit for hit in self.hits if hit.exact]
        return exact[0] if len(exact) == 1 else None


def find_label(works: Works, text: str) -> Search:
    """Find what a scan or a typed text names.

    Raises
    ------
    BadInput
        For a text longer than any label.
    """
    if len(text) > LONGEST:
        raise BadInput(
            "q", text[:40], f"That is {len(text)} characters; a label has at most {LONGEST}."
        )
    bare = without_symbology(text)
    if not bare:
        return Search(text, (), (), ())
    fields = fields_on_label(text)
    looked = [f"{_what(e)} {e.value}" for e in fields if _what(e)]
    hits = _by_fields(works, text, fields)
    if not hits:
        looked += [f"a lot, run or sample {bare}", f"a paper, pallet or own number {bare}"]
        hits = _by_number(works, bare)
    if not hits and len(bare) >= SHORTEST_PART:
        looked.append(f"“{bare}” in labels, papers, and names of customers, lines and products")
        hits = _by_part(works, bare)
    titles = tuple((e.title, e.value) for e in fields)
    return Search(text, titles, tuple(looked), tuple(hits))


def _what(element: Element) -> str:
    if element.ai in _PRODUCTS:
        return "a product"
    if element.ai in _PAPERS:
        return "a paper"
    return {_LOT: "a lot", _PALLET: "a pallet"}.get(element.ai, "")


def _by_fields(works: Works, text: str, fields: tuple[Element, ...]) -> list[Hit]:
    """A lot number decides; else the pallet, a paper, the product."""
    lots = lots_on_label(works, text)
    if lots:
        return _lot_hits(works, lots)
    values = {e.ai: e.value for e in fields}
    hits: list[Hit] = []
    for ai in (_PALLET, *_PAPERS):
        if ai in values:
            hits += [hit for hit in _on_papers(works, values[ai]) if hit.exact]
    return hits or [hit for ai in _PRODUCTS if ai in values for hit in _gtin(works, values[ai])]


def _lot_hits(works: Works, lots: tuple[tuple[str, str], ...]) -> list[Hit]:
    """Lots that a label names; none of them is sure when there are several."""
    labels = {lot.lot_id: lot.label for lot in works.book.lots(ids=[k for k, _ in lots])}
    return [
        _hit("lot", k, against or labels[k], [k], exact=len(lots) == 1 and not against)
        for k, against in lots
    ]


def _by_number(works: Works, bare: str) -> list[Hit]:
    names = dict.fromkeys((bare, bare.upper(), bare[:1].upper() + bare[1:].lower()))
    runs = works.book.runs(ids=names)
    if runs:
        run = runs[0]
        return [_hit("run", run.run_id, f"{run.stage} on {run.equipment}", run.lots, exact=True)]
    own = [
        lot.lot_id
        for lot in works.book.lots()
        if str(lot.attributes.get("own_number", "")).casefold() == bare.casefold()
    ]
    hits = [_hit("lot", k, f"own number {bare}", [k], exact=True) for k in own]
    return hits + [hit for hit in _on_papers(works, bare) if hit.exact]


def _by_part(works: Works, bare: str) -> list[Hit]:
    wanted = bare.casefold()
    hits = list(_names(works, wanted))
    for lot in reversed(works.book.lots()):
        said = (lot.lot_id, lot.label, str(lot.attributes.get("own_number", "")))
        if any(wanted in each.casefold() for each in said):
            hits.append(_hit("lot", lot.lot_id, lot.label, [lot.lot_id], exact=False))
    return hits[:MOST_LOTS] + list(_on_papers(works, bare))


def _hit(kind: str, name: str, words: str, lots: Iterable[str], *, exact: bool) -> Hit:
    every = tuple(dict.fromkeys(lots))
    return Hit(kind, name, words, every[:MOST_LOTS], len(every), exact)


def _names(works: Works, wanted: str) -> Iterator[Hit]:
    """Customers, sources and products whose id or name holds the text."""
    settings = works.settings
    for customer in settings.customer:
        if wanted in customer.id.casefold() or wanted in customer.name.casefold():
            sent = [
                d.lot_id
                for e in reversed(works.book.events_in_force(kind="ship"))
                if e.facts.get("customer") == customer.id
                for d in e.inputs
            ]
            yield _hit("customer", customer.name, f"market {customer.market}", sent, exact=False)
    newest = works.book.lots()[::-1]
    for kind, listed in (("source", settings.source), ("product", settings.product)):
        for each in listed:
            grower = getattr(each, "grower", "")
            if any(wanted in said.casefold() for said in (each.id, each.name, grower)):
                lots = [k.lot_id for k in newest if k.attributes.get(kind) == each.id]
                yield _hit(kind, each.name, grower, lots, exact=False)


def _gtin(works: Works, gtin: str) -> Iterator[Hit]:
    names = {p.id: p.name for p in works.settings.product}
    for product, own in own_gtin(works).items():
        if own == gtin:
            lots = [
                lot.lot_id
                for lot in reversed(works.book.lots())
                if lot.attributes.get("product") == product
            ]
            yield _hit("product", names.get(product, product), f"GTIN {gtin}", lots, exact=False)


def _on_papers(works: Works, words: str) -> list[Hit]:
    """Papers, samples, runs, pallets, kits and cars in the events that hold the words."""
    wanted = words.casefold()
    lots: dict[tuple[str, str], list[str]] = {}
    said: dict[tuple[str, str], str] = {}
    for row in works.book.events_saying(words):
        for key in _keys(row.event, wanted):
            lots.setdefault(key, []).extend(lots_touched(row.event))
            said[key] = row.event.kind
    known = {k.lot_id for k in works.book.lots(ids={k for each in lots.values() for k in each})}
    hits = [
        _hit(
            kind,
            name,
            said[kind, name],
            [k for k in each if k in known],
            exact=name.casefold() == wanted,
        )
        for (kind, name), each in lots.items()
    ]
    return sorted(hits, key=lambda hit: not hit.exact)[:MOST_LOTS]


def _keys(event: Event, wanted: str) -> Iterator[tuple[str, str]]:
    if wanted in event.document.casefold():
        yield "paper", event.document
    if wanted == event.event_id.casefold():
        yield "entry", event.event_id
    for name, value in _texts(event.facts):
        kind = _ON_PAPERS.get(name, "")
        if kind and wanted in value.casefold():
            yield kind, value


def _texts(facts: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in facts.items():
        for each in value if isinstance(value, list | tuple) else (value,):
            if isinstance(each, str) and each:
                yield name, each
