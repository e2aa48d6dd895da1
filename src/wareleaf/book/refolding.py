"""Fold again only what a correction can change.

A lot is what the events that touch it say, and at its making it takes over whether the lots that it
is made of are held or released. So a correction can change the lots that the event touches, before
or after, and of the lots made from those only the ones that take over something else than before.
The lots are folded twice, as history was and as it is now; where a lot made of them comes out
otherwise, it is folded too, until nothing more differs. What is found equals a fold of the whole
book, and is refused with the same words.

Holds where events fold in recorded order. A book in which a correction draws from a lot that was
recorded later keeps another order there (`wareleaf.book.corrections.in_order`); the caller folds
such a part with the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

from wareleaf.book.event import Event
from wareleaf.book.folding import check_in_place, step
from wareleaf.book.kinds import lots_named
from wareleaf.book.lots import LotState, RunState
from wareleaf.book.pallet_rules import PalletWatch

Standing: TypeAlias = tuple[str, tuple[str, ...]]
"""Why a lot is on hold (empty: it is not) and the markets that it is released for."""

History: TypeAlias = Mapping[str, tuple[int, Event]]
"""Events in force with the sequence of the event first recorded, by its id."""


@dataclass(frozen=True)
class Around:
    """What lies around the lots that are folded again and stays as it is.

    Parameters
    ----------
    lots : mapping
        Those that the events name, as they are.
    standing : callable
        Of one of them before the event of a sequence.
    runs : mapping
        Runs that were started by events that are not folded again, not yet finished.
    """

    lots: Mapping[str, LotState]
    standing: Callable[[str, int], Standing]
    runs: Mapping[str, RunState]


@dataclass(frozen=True)
class Replayed:
    """Lots and runs after some events, what lots made outside took over, and rules broken."""

    lots: Mapping[str, LotState]
    runs: Mapping[str, RunState]
    made_outside: Mapping[str, Standing]
    pallets: PalletWatch


def replay(history: History, inside: Collection[str], around: Around) -> Replayed:
    """Fold events that touch some lots, from nothing.

    Parameters
    ----------
    history : mapping
        All events in force that touch a lot inside, that free it from a run, and what else shall
        be checked again.
    inside : collection of str
        Lots to fold.
    around : Around
        The rest.

    Raises
    ------
    BadInput
        When an event no longer holds; the first one in recorded order.
    """
    lots: dict[str, LotState] = {}
    runs = dict(around.runs)
    outside: dict[str, Standing] = {}
    pallets = PalletWatch(inside)
    for sequence, event in sorted(history.values(), key=lambda x: x[0]):
        for lot_id in lots_named(event):
            if lot_id not in inside and lot_id in around.lots:
                lots[lot_id] = _untouched(around, lot_id, sequence, event)
        check_in_place(event, lots, runs)
        pallets.before(event, lots)
        changed = step(lots, runs, event)
        pallets.after(changed, lots)
        for made in event.outputs:
            if made.lot_id not in inside:
                outside[made.lot_id] = standing_of(lots[made.lot_id])
        for lot_id in {*changed, *lots_named(event)}.difference(inside):
            lots.pop(lot_id, None)
    return Replayed(lots, runs, outside, pallets)


def standing_of(lot: LotState) -> Standing:
    """Whether a lot is held or released."""
    return lot.held_because, lot.released_for


def comes_out_otherwise(before: Replayed, after: Replayed) -> set[str]:
    """Lots outside that take over something else; those made on one side only are inside."""
    was, now = before.made_outside, after.made_outside
    return {lot_id for lot_id in was.keys() & now.keys() if was[lot_id] != now[lot_id]}


def _untouched(around: Around, lot_id: str, sequence: int, event: Event) -> LotState:
    """A lot outside as an event finds it. All draws on it are as they were, so they all fit."""
    lot = around.lots[lot_id]
    customer = str(event.facts.get("customer", ""))
    held, released = around.standing(lot_id, sequence)
    return replace(
        lot,
        drawn_mass_g=0,
        drawn_dry_g=0,
        away={customer: (lot.shipped_mass_g, lot.shipped_dry_g)},
        held_because=held,
        released_for=released,
        on_runs=(),
    )


def after_standing_events(standing: Standing, events: Iterable[Event]) -> Standing:
    """What a lot's own holds and releases make of how it stood before."""
    held, released = standing
    for event in events:
        if event.kind == "hold":
            held, released = event.facts["reason"], ()
        else:
            held, released = "", tuple(sorted({*released, *event.facts["markets"]}))
    return held, released
