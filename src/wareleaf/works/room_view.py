"""Bins and silos as they stand, and what a trace has to say of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wareleaf.book import Event, LotState
from wareleaf.book.mixing import Mixing, tail_g
from wareleaf.works.house import Works
from wareleaf.works.settings import Room

TAKEN_FROM = "taken_from"
"""Attribute of a lot that was taken out of a room."""

RULE_WORDS: Mapping[str, str] = {
    "in_order": "first in, first out",
    "mixed": "all of it mixes",
    "tanks": "mixes in {tanks} parts, one behind another",
}


@dataclass(frozen=True)
class RoomView:
    """A room as it stands.

    Parameters
    ----------
    room : Room
        From the settings.
    lots : tuple of LotState
        What lies in it, first in first.
    mass_kg : float
        All of it.
    tail_kg : float
        What has to go through at this content until a lot counts as out; 0 for an empty room.
    """

    room: Room
    lots: tuple[LotState, ...]
    mass_kg: float
    tail_kg: float

    @property
    def words(self) -> str:
        """The rule in words."""
        return rule_words(self.room.rule, self.room.tanks)


def rule_words(rule: str, tanks: int) -> str:
    """A rule as people say it."""
    return RULE_WORDS[rule].format(tanks=tanks)


def mixing_of(room: Room) -> Mixing:
    """The rule of a room."""
    return Mixing(room.rule, room.tanks if room.rule == "tanks" else 1, room.cut)


def room_view(works: Works, room_id: str) -> RoomView:
    """A room with what lies in it.

    Raises
    ------
    BadInput
        For an unknown room.
    """
    room = works.settings.room_of(room_id)
    lots = lying(works, room)
    mass_g = sum(lot.remaining_mass_g for lot in lots)
    tail = tail_g(mixing_of(room), mass_g) / 1000.0 if mass_g and room.cut else 0.0
    return RoomView(room, tuple(lots), mass_g / 1000.0, tail)


def rooms(works: Works, site_id: str) -> list[RoomView]:
    """Every room of a site."""
    return [room_view(works, room.id) for room in works.settings.room if room.site == site_id]


def lying(works: Works, room: Room) -> list[LotState]:
    """Lots in a room, first in first."""
    there = works.book.lots(site=room.site, place=room.id, in_stock_only=True)
    return sorted(there, key=lambda lot: (lot.made_at, lot.lot_id))


def rooms_passed(works: Works, lots: Iterable[LotState]) -> tuple[str, ...]:
    """What a trace has to say of the rooms it went through: how each taking among lots mixed."""
    taken = [lot for lot in lots if TAKEN_FROM in lot.attributes]
    return tuple(
        f"{lot.lot_id} out of {_said_of(works, works.book.event(lot.made_by).event)}"
        for lot in taken
    )


def _said_of(works: Works, event: Event) -> str:
    facts = event.facts
    names = {room.id: room.name for room in works.settings.room}
    words = rule_words(str(facts["rule"]), int(facts["tanks"]))
    text = f"{names.get(facts['room'], facts['room'])}: {words}."
    closed = facts.get("closed") or {}
    if closed:
        parts = ", ".join(f"{lot_id} ({g / 1000.0:.3f} kg)" for lot_id, g in closed.items())
        text += (
            f" Below {100.0 * float(facts['cut']):g} % of what it held a lot counts as out: "
            f"{parts} went with this taking; as much may still have come out later."
        )
    return text
