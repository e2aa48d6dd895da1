"""Where dry matter of a fault went, followed to the end and counted in whole grams. Pure.

Some lots are at fault as a whole. Every other lot carries as much of the fault as what was drawn
for it: its share is the mean of its parents' shares by the dry matter drawn from each, and losses
carry the mix of the event in which they arose (the rule of `wareleaf.book.tracing`). With that,

    entered = in stock + on machines + shipped + samples + waste + losses + unexplained

holds exactly, where a lot at fault that was made of others at fault enters only with what they did
not bring. Unexplained is added up from the events and the lots themselves, never as a remainder.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wareleaf.book import Event, LotState, edges_of, unexplained_sd
from wareleaf.book.errors import SENT_AWAY, Errors
from wareleaf.measure.errors import BadInput

_SAMPLES, _WASTE = ("sample",), ("waste", "spill", "refuse", "destroyed")


@dataclass(frozen=True)
class Account:
    """Dry matter of a fault by where it is, whole grams; the parts add up to ``total_g`` exactly.

    Parameters
    ----------
    total_g : int
        What entered with the fault.
    in_stock_g, on_machines_g, shipped_g : int
        Lying here, on a machine in an open run, with customers (shipped less what came back).
    used_on_g : int
        Made into other lots; 0 where those are followed to the end.
    samples_g, waste_g : int
        Taken as samples; written off, destroyed or spilt.
    losses_g : mapping
        Every other loss by name (leached, dust...); a negative one is a gain.
    unexplained_g : int
        What no record explains; negative where more came out than went in.
    """

    total_g: int
    in_stock_g: int
    on_machines_g: int
    shipped_g: int
    used_on_g: int
    samples_g: int
    waste_g: int
    losses_g: Mapping[str, int]
    unexplained_g: int

    @property
    def accounted_g(self) -> int:
        """Everything that a record explains, grams."""
        known = self.in_stock_g + self.on_machines_g + self.shipped_g + self.used_on_g
        return known + self.samples_g + self.waste_g + sum(self.losses_g.values())

    @property
    def accounted(self) -> float:
        """The same as a fraction of the total; above 1 where more came out than went in."""
        return self.accounted_g / self.total_g if self.total_g else 1.0


@dataclass(frozen=True)
class Gap:
    """Dry matter of the fault that one event (or an emptied lot) leaves unexplained, grams."""

    event_id: str
    lot_id: str
    dry_g: float
    sd_g: float


@dataclass(frozen=True)
class Flow:
    """A fault followed to the end.

    Parameters
    ----------
    share : mapping
        Lot id to the part of its dry matter that is at fault, in the order made.
    entered_g : mapping
        Lot id to dry matter that entered the fault with it, grams.
    level : mapping
        Steps from the lots at fault, the longest way.
    first : Account
        The lots at fault alone: what was made of them is ``used_on_g``.
    last : Account
        Followed to the end.
    gaps : tuple of Gap
        What makes up the unexplained, the largest first.
    unexplained_sd_g : float
        Standard uncertainty of the whole unexplained, from weights and moistures.
    closure_g : float
        Entered less everything found, before rounding: 0 but for floating point.
    """

    share: Mapping[str, float]
    entered_g: Mapping[str, float]
    level: Mapping[str, int]
    first: Account
    last: Account
    gaps: tuple[Gap, ...]
    unexplained_sd_g: float
    closure_g: float


def follow(roots: Iterable[str], lots: Mapping[str, LotState], events: Iterable[Event]) -> Flow:
    """Follow the dry matter of lots at fault.

    Parameters
    ----------
    roots : iterable of str
        Lots that are at fault as a whole.
    lots : mapping
        These, all that was made of them, and all other lots their events draw from.
    events : iterable of Event
        In force; every one that draws from an affected lot.
    """
    events = list(events)
    share, entered, level = _shares(list(dict.fromkeys(roots)), lots, events)
    parts, gaps = _tally(share, lots, events, onward=True)
    weight = {k: entered[k] / lots[k].dry_g if lots[k].dry_g else 0.0 for k in entered}
    first_parts, _ = _tally(weight, lots, events, onward=False)
    total = sum(entered.values())
    gaps.sort(key=lambda g: (-abs(g.dry_g), g.event_id))
    return Flow(
        share=share,
        entered_g=entered,
        level=level,
        first=_account(total, first_parts),
        last=_account(total, parts),
        gaps=tuple(gaps),
        unexplained_sd_g=_sd(share, lots, events),
        closure_g=total - math.fsum(parts.values()),
    )


def one_step(
    lot_id: str, lots: Mapping[str, LotState], events: Iterable[Event]
) -> tuple[Account, float]:
    """Where the dry matter of one lot went, one step on, and how uncertain the unexplained is.

    Parameters
    ----------
    lot_id : str
        The lot; all of it is counted, whatever it was made of.
    lots : mapping
        The lot, and all that its draws name.
    events : iterable of Event
        In force; every one that draws from the lot.

    Returns
    -------
    Account, float
        Whole grams, what became other lots in ``used_on_g``; standard uncertainty in grams.
    """
    events, share = list(events), {lot_id: 1.0}
    parts, _ = _tally(share, lots, events, onward=False)
    return _account(lots[lot_id].dry_g, parts), _sd(share, lots, events)


def _shares(
    roots: list[str], lots: Mapping[str, LotState], events: list[Event]
) -> tuple[dict[str, float], dict[str, float], dict[str, int]]:
    edges = [edge for event in events for edge in edges_of(event)]
    into: dict[str, list[tuple[str, float]]] = {}
    for edge in edges:
        into.setdefault(edge.child, []).append((edge.parent, edge.share))
    affected = set(roots) | set(into)
    waits = {k: sum(p in affected for p, _ in into.get(k, ())) for k in affected}
    below: dict[str, list[str]] = {}
    for edge in edges:
        below.setdefault(edge.parent, []).append(edge.child)
    share: dict[str, float] = {}
    entered: dict[str, float] = {}
    level: dict[str, int] = {}
    ready, depth = sorted(k for k, n in waits.items() if n == 0), 0
    fixed = set(roots)
    while ready:
        later: list[str] = []
        for lot_id in ready:
            brought = min(
                math.fsum(part * share.get(p, 0.0) for p, part in into.get(lot_id, ())), 1
            )
            share[lot_id], level[lot_id] = float(brought), depth
            if lot_id in fixed:
                share[lot_id] = 1.0
                entered[lot_id] = lots[lot_id].dry_g * (1.0 - brought)
            for child in below.get(lot_id, ()):
                waits[child] -= 1
                if waits[child] == 0:
                    later.append(child)
        ready, depth = sorted(later), depth + 1
    if len(share) < len(affected):
        lot_id = min(affected - set(share))
        raise BadInput("lot_id", lot_id, f"Lot {lot_id} is among its own ancestors.")
    return share, entered, level


def mix_of(event: Event, share: Mapping[str, float]) -> float:
    """Part of what an event drew that is at fault: by dry matter, by mass where none was drawn."""
    by_dry = any(d.dry_g for d in event.inputs)
    whole = sum(d.dry_g if by_dry else d.mass_g for d in event.inputs)
    bad = math.fsum(
        (d.dry_g if by_dry else d.mass_g) * share.get(d.lot_id, 0.0) for d in event.inputs
    )
    return bad / whole if whole else 0.0


def _tally(
    share: Mapping[str, float],
    lots: Mapping[str, LotState],
    events: list[Event],
    *,
    onward: bool,
) -> tuple[dict[str, float], list[Gap]]:
    """Sum the fault by where it is; ``onward`` when what is made of it is in ``share`` too."""
    parts: dict[str, float] = {"in stock": 0.0, "on machines": 0.0, "unexplained": 0.0}
    gaps: list[Gap] = []

    def add(name: str, grams: float) -> None:
        parts[name] = parts.get(name, 0.0) + grams

    def leave(event_id: str, lot_id: str, grams: float, sd_g: float) -> None:
        add("unexplained", grams)
        if grams:
            gaps.append(Gap(event_id, lot_id, grams, sd_g))

    for lot_id, part in share.items():
        lot = lots[lot_id]
        add("on machines" if lot.on_runs else "in stock", lot.remaining_dry_g * part)
        leave(lot.last_drawn_by, lot_id, lot.residual_dry_g * part, lot.dry_sd_g * part)
    for event in events:
        mix = mix_of(event, share)
        drawn = math.fsum(d.dry_g * share.get(d.lot_id, 0.0) for d in event.inputs)
        lost = sum(s.dry_g for s in event.streams)
        for stream in event.streams:
            add(f"stream {stream.name}", stream.dry_g * mix)
        if event.kind in SENT_AWAY:  # what is not in a stream left the works with it
            add("shipped" if event.kind == "ship" else "stream waste", drawn - lost * mix)
            continue
        if event.kind == "receive_back":  # it comes from the customer, not from stock
            add("shipped", -drawn)
        made = sum(m.dry_g for m in event.outputs)
        if not onward:
            add("used on", made * mix)
        sd = unexplained_sd(event, lots)[1] * mix if onward else 0.0
        leave(event.event_id, "", drawn - (made + lost) * mix, sd)
    return parts, gaps


def _sd(share: Mapping[str, float], lots: Mapping[str, LotState], events: list[Event]) -> float:
    """One error a lot, counted once wherever it goes (`wareleaf.book.errors`), by its share."""
    sum_of = Errors()
    for event in events:
        one, mix = Errors(), mix_of(event, share)
        one.add(event, lots)
        for mine, all_of in ((one.dry, sum_of.dry), (one.moisture, sum_of.moisture)):
            for lot_id, factor in mine.items():
                all_of[lot_id] = all_of.get(lot_id, 0.0) + mix * factor
        sum_of.rounded += one.rounded
    return sum_of.sd(lots)[1]


def _account(total_g: float, parts: Mapping[str, float]) -> Account:
    whole = round(total_g)
    grams = to_whole(parts, whole)
    streams = {k.removeprefix("stream "): v for k, v in grams.items() if k.startswith("stream ")}
    return Account(
        total_g=whole,
        in_stock_g=grams["in stock"],
        on_machines_g=grams["on machines"],
        shipped_g=grams.get("shipped", 0),
        used_on_g=grams.get("used on", 0),
        samples_g=sum(streams.get(k, 0) for k in _SAMPLES),
        waste_g=sum(streams.get(k, 0) for k in _WASTE),
        losses_g={k: v for k, v in sorted(streams.items()) if v and k not in (*_SAMPLES, *_WASTE)},
        unexplained_g=grams["unexplained"],
    )


def to_whole(parts: Mapping[str, float], total: int) -> dict[str, int]:
    """Round parts to whole numbers that add up to ``total``: those nearest the next go up.

    Raises
    ------
    ArithmeticError
        When the parts are further from the total than rounding can be.
    """
    down = {k: math.floor(v) for k, v in parts.items()}
    short = total - sum(down.values())
    if not 0 <= short <= len(parts):
        raise ArithmeticError(f"Parts of {math.fsum(parts.values())} do not add up to {total}.")
    order = sorted(parts, key=lambda k: (down[k] - parts[k], k))
    for name in order[:short]:
        down[name] += 1
    return down
