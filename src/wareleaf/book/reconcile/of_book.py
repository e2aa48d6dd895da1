"""A stretch of the book as a network of streams, for dry matter or for mass.

Every event that turns lots into lots is a node, and so is every lot made in the stretch. A lot's
booked amount is measured with the lot's own uncertainty. A draw that empties its lot alone says
nothing new and counts as not measured; a part of a lot was weighed on its own and has the lot's
uncertainty in proportion. A named loss is booked with a stated relative uncertainty, for the book
keeps none. Stock left at the end is not measured: nobody counts it daily. What an event leaves
unexplained is a stream too, the gap, measured as nothing: leaf that was spilt or never written down
is then a suspect of its own (a leak at a node, Narasimhan and Mah 1987, from memory), and is not
blamed on a scale that was right.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from wareleaf.book.event import Event
from wareleaf.book.lots import LotState
from wareleaf.book.reconcile.flows import Flow
from wareleaf.measure.errors import require

LOSS_RELATIVE_SD = 0.3
"""Relative standard uncertainty of a booked loss (common practice: a guess, no source)."""

ROUNDING_SD_G = math.sqrt(1.0 / 12.0)
"""Of a number rounded to whole grams."""

GAP_SD_G = 0.01
"""Of the nothing that an event may leave unexplained: far below a gram, so as good as exact."""

Quantity = Literal["dry", "mass"]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a stream of the network is in the book."""

    what: Literal["lot", "draw", "loss", "stock", "gap"]
    lot_id: str
    event_id: str
    stream: str = ""


@dataclass
class BookNetwork:
    """Streams in grams, exact ones, and what each is."""

    flows: list[Flow] = field(default_factory=list)
    known: dict[str, float] = field(default_factory=dict)
    meaning: dict[str, Meaning] = field(default_factory=dict)

    def add(
        self,
        meaning: Meaning,
        start: str | None,
        end: str | None,
        measured: float | None,
        sd: float | None,
    ) -> None:
        """One stream; its name is made of what it is."""
        parts = (meaning.what, meaning.lot_id, meaning.event_id, meaning.stream)
        name = base = " ".join(p for p in parts if p)
        count = 1
        while name in self.meaning:
            count += 1
            name = f"{base} {count}"
        self.flows.append(Flow(name, start, end, measured, sd))
        self.meaning[name] = meaning


def network_of_book(
    events: Iterable[Event],
    lots: Mapping[str, LotState],
    quantity: Quantity = "dry",
    loss_relative_sd: float = LOSS_RELATIVE_SD,
) -> BookNetwork:
    """The network of some events.

    Parameters
    ----------
    events : iterable of Event
        In force, all that happened in the stretch.
    lots : mapping
        The lots that they draw from and make.
    quantity : str
        ``dry`` or ``mass``.
    loss_relative_sd : float
        Of named losses other than water and rounding, above 0.

    Raises
    ------
    BadInput
        For a loss uncertainty that is not above 0.
    """
    require(
        loss_relative_sd > 0.0,
        "loss_relative_sd",
        loss_relative_sd,
        f"loss_relative_sd is {loss_relative_sd}; give a fraction above 0, such as 0.3.",
    )
    moving = [e for e in events if e.inputs or e.outputs]
    made_here = {m.lot_id for e in moving for m in e.outputs}
    drawn: defaultdict[str, int] = defaultdict(int)
    times: defaultdict[str, int] = defaultdict(int)
    for e in moving:
        for d in e.inputs if e.kind != "receive_back" else ():
            drawn[d.lot_id] += d.mass_g
            times[d.lot_id] += 1
    found = BookNetwork()
    for e in moving:
        node = f"event {e.event_id}" if e.inputs and e.outputs else None
        for m in e.outputs:
            amount = m.dry_g if quantity == "dry" else m.mass_g
            sd = math.hypot(m.dry_sd_g if quantity == "dry" else m.mass_sd_g, ROUNDING_SD_G)
            found.add(Meaning("lot", m.lot_id, e.event_id), node, f"lot {m.lot_id}", amount, sd)
            if drawn[m.lot_id] < m.mass_g:
                found.add(Meaning("stock", m.lot_id, ""), f"lot {m.lot_id}", None, None, None)
        for d in e.inputs:
            lot = lots[d.lot_id]
            here = d.lot_id in made_here and e.kind != "receive_back"  # that came over the border
            start = f"lot {d.lot_id}" if here else None
            meaning = Meaning("draw", d.lot_id, e.event_id)
            if start is None and node is None:
                continue
            if here and times[d.lot_id] == 1 and drawn[d.lot_id] >= lot.mass_g:
                found.add(meaning, start, node, None, None)
                continue
            whole, whole_sd, part = (
                (lot.dry_g, lot.dry_sd_g, d.dry_g)
                if quantity == "dry"
                else (lot.mass_g, lot.mass_sd_g, d.mass_g)
            )
            sd = math.hypot(whole_sd * part / whole if whole else 0.0, ROUNDING_SD_G)
            found.add(meaning, start, node, part, sd)
        if node is not None:
            _losses(found, e, node, quantity, loss_relative_sd)
    for e in moving:  # last, so that of two that cannot be told apart a weighing is named first
        if e.inputs and e.outputs:
            found.add(Meaning("gap", "", e.event_id), f"event {e.event_id}", None, 0.0, GAP_SD_G)
    return found


def _losses(
    found: BookNetwork, event: Event, node: str, quantity: Quantity, relative_sd: float
) -> None:
    for s in event.streams:
        amount = s.dry_g if quantity == "dry" else s.mass_g
        if amount == 0 and s.name != "water":
            continue
        if s.name == "water" and quantity == "dry":
            continue
        meaning = Meaning("loss", "", event.event_id, s.name)
        start, end = (node, None) if amount >= 0 else (None, node)
        if s.name == "water":  # booked as the difference of two weighings
            found.add(meaning, start, end, None, None)
            continue
        sd = math.hypot(relative_sd * abs(amount), ROUNDING_SD_G)
        if s.name == "rounding":
            sd = ROUNDING_SD_G
        found.add(meaning, start, end, abs(amount), sd)
