"""What is known of every lot, kept until something is recorded that changes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from threading import Lock

import numpy as np

from wareleaf.book.properties import Belief, condition, network
from wareleaf.book.properties_network import Vector
from wareleaf.leaf.contents import known_contents
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.properties.carry import MOISTURE, Given, given, parameters_of
from wareleaf.works.properties.season import HEAD, Season, read_season
from wareleaf.works.settings import WorksSettings

_MOST_PASSES, _CLOSE = 6, 0.02  # own choice


@dataclass(frozen=True)
class Known:
    """One content of a family of leaf: what was given, and what follows.

    ``surprises`` is how far each result might have lain from what was expected before it, one
    standard deviation; ``oddness`` how far it lies from what the others expect, in such.
    """

    given: Given
    belief: Belief
    surprises: Vector
    oddness: Vector


@dataclass
class Beliefs:
    """The seasons of a book as they stand, each content worked out when it is asked for."""

    settings: WorksSettings
    seasons: list[Season]
    kept: dict[tuple[int, str], Known | None] = field(default_factory=dict)

    def season_of(self, lot_id: str) -> tuple[int, Season]:
        """The season of a lot and its place in the list.

        Raises
        ------
        BadInput
            For an unknown lot.
        """
        for at, season in enumerate(self.seasons):
            if lot_id in season.made:
                return at, season
        raise BadInput("lot_id", lot_id, f"There is no lot {lot_id} in the book.")

    def known(self, at: int, parameter: str) -> Known | None:
        """One content of a season; None when nothing is known of it."""
        key = (at, parameter)
        if key not in self.kept:
            about = given(self.settings, self.seasons[at], parameter)
            self.kept[key] = None if about is None else _known(about)
        return self.kept[key]

    def all_known(self, at: int) -> Iterator[Known]:
        """Every content of a season of which something is known."""
        for parameter in parameters_of(self.seasons[at], known_contents()):
            found = self.known(at, parameter)
            if found is not None:
                yield found


def _condition(about: Given) -> tuple[Given, Belief]:
    """Anew until what is relative (loads, parts, kept fractions) is so to the leaf that was there.

    The published mean sets the scale of the first pass, the estimates that of the next.
    """
    findings = [t.finding for t in about.told]
    belief = condition(network(about.sources, about.steps), findings)
    if not findings or about.parameter == MOISTURE:
        return about, belief
    rows = [belief.net.row(s.lot_id) for s in about.sources]
    for _ in range(_MOST_PASSES):
        before = belief.mean[rows]
        there = {
            lot: (float(belief.mean[row]), float(belief.sd[row]))
            for lot, row in belief.net.index.items()
        }
        about = about.at_scale(dict(zip((s.lot_id for s in about.sources), before, strict=True)))
        belief = condition(network(about.sources, about.steps, there), findings)
        if np.all(np.abs(belief.mean[rows] - before) <= _CLOSE * np.abs(before)):
            break
    return about, belief


def _known(about: Given) -> Known:
    about, belief = _condition(about)
    findings = belief.findings
    seen = belief.net.spread[[belief.net.row(f.lot_id) for f in findings]] if findings else None
    spread = 0.0 if seen is None else np.asarray(seen.multiply(seen).sum(axis=1)).ravel()
    noise = np.array([f.sd for f in findings])
    return Known(about, belief, np.sqrt(spread + noise**2), belief.oddness())


_KEPT: dict[str, tuple[str, Beliefs]] = {}
_MOST_BOOKS = 4
_LOCK = Lock()


def beliefs(works: Works) -> Beliefs:
    """What is known of the lots of a book, as it stands now."""
    book = str(works.book.engine.url)
    own = works.settings.laboratory.model_dump_json() + repr(works.settings.usual_leaf)
    head = works.book.last_hash(HEAD) + own
    with _LOCK:
        kept = _KEPT.get(book)
        if kept is not None and kept[0] == head:
            return kept[1]
    found = Beliefs(works.settings, read_season(works))
    with _LOCK:
        if len(_KEPT) >= _MOST_BOOKS:
            _KEPT.clear()
        _KEPT[book] = (head, found)
    return found
