"""Put lots into a bin or silo, and take a weight out: made of what the room's rule says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from wareleaf.book import Draw, LotState, Made
from wareleaf.book.mixing import Move, Taking, take
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.handle_lot import shared_attributes
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, draw, dry_sd_kg, moisture_sd, new_lot_id, record
from wareleaf.works.room_view import TAKEN_FROM, RoomView, lying, mixing_of, room_view
from wareleaf.works.settings import Room


def put_in(
    works: Works,
    who: str,
    room_id: str,
    lot_ids: Sequence[str],
    *,
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> RoomView:
    """Tip lots into a room, all that remains of each.

    Raises
    ------
    BadInput
        For leaf of another kind or form than lies there, a full room, or a lot on hold: it would
        taint the rest.
    """
    room = works.settings.room_of(room_id)
    acting(works, who, "run a stage", room.site)
    require(bool(lot_ids), "lot_ids", [], "Choose at least one lot to put in.")
    lots = [works.book.lot(lot_id) for lot_id in dict.fromkeys(lot_ids)]
    _may_go_in(room, lots, lying(works, room))
    at = happened_at or works.now()
    for lot in lots:
        drawn = draw(lot)
        made = Made(
            lot_id=new_lot_id(works, room.site, at),
            leaf=lot.leaf,
            form=lot.form,
            place=room.id,
            mass_g=drawn.mass_g,
            dry_g=drawn.dry_g,
            mass_sd_g=lot.mass_sd_g,
            dry_sd_g=lot.dry_sd_g,
            label=lot.label or lot.lot_id,
            attributes=lot.attributes,
        )
        record(
            works,
            Entry(
                kind="split",
                site=room.site,
                who=who,
                place=room.id,
                why=note,
                document=document,
                happened_at=at,
                inputs=(drawn,),
                outputs=(made,),
                facts={"room": room.id},
            ),
        )
    return room_view(works, room_id)


def _may_go_in(room: Room, lots: Sequence[LotState], there: Sequence[LotState]) -> None:
    for lot in lots:
        if lot.site != room.site:
            raise BadInput("lot_ids", lot.lot_id, f"{lot.lot_id} lies at another site.")
        if lot.remaining_mass_g == 0:
            raise BadInput("lot_ids", lot.lot_id, f"Nothing is left of {lot.lot_id}.")
        if lot.on_runs:
            raise BadInput("lot_ids", lot.lot_id, f"{lot.lot_id} is on a machine.")
        if lot.place == room.id:
            raise BadInput("lot_ids", lot.lot_id, f"{lot.lot_id} lies in {room.name} already.")
        if lot.held_because:
            raise BadInput(
                "lot_ids",
                lot.lot_id,
                f"{lot.lot_id} is on hold ({lot.held_because}); in {room.name} it would reach all "
                "that lies there.",
            )
    kinds = {(lot.leaf, lot.form) for lot in (*lots, *there)}
    if len(kinds) > 1:
        raise BadInput(
            "lot_ids",
            [lot.lot_id for lot in lots],
            f"{room.name} takes one leaf in one form at a time; empty it first.",
        )
    mass_kg = sum(lot.remaining_mass_g for lot in (*lots, *there)) / 1000.0
    if room.capacity_kg is not None and mass_kg > room.capacity_kg:
        raise BadInput(
            "lot_ids",
            [lot.lot_id for lot in lots],
            f"That makes {mass_kg:.1f} kg; {room.name} holds {room.capacity_kg:g} kg.",
        )


def take_out(
    works: Works,
    who: str,
    room_id: str,
    mass_kg: float,
    scale: str,
    *,
    place: str = "floor",
    label: str = "",
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> LotState:
    """Take a weight out of a room: a new lot, made of what the room's rule says.

    Raises
    ------
    BadInput
        When the room does not hold so much, or a lot in it is on hold.
    """
    room = works.settings.room_of(room_id)
    acting(works, who, "run a stage", room.site)
    if not mass_kg > 0.0:
        raise BadInput("mass_kg", mass_kg, f"mass_kg is {mass_kg:g}; it must be above 0.")
    if place in {each.id for each in works.settings.room}:
        raise BadInput("place", place, f"{place} is a room; take the leaf out to the floor first.")
    lots = {lot.lot_id: lot for lot in lying(works, room)}
    held = [lot.lot_id for lot in lots.values() if lot.held_because]
    if held:
        raise BadInput(
            "room",
            room_id,
            f"{', '.join(held)} in {room.name} is on hold, and all that lies there mixes: free it "
            "or write off what the room holds.",
        )
    content_kg = sum(lot.remaining_mass_g for lot in lots.values()) / 1000.0
    require(
        mass_kg <= content_kg + 0.0005,
        "mass_kg",
        mass_kg,
        f"mass_kg is {mass_kg:g}; {room.name} holds {content_kg:.3f} kg. If the scale is right, "
        "correct what went in.",
    )
    mass_g = min(round(mass_kg * 1000.0), round(content_kg * 1000.0))
    left = {lot_id: lot.remaining_mass_g for lot_id, lot in lots.items()}
    taking = take(mixing_of(room), _moves(works, room), left, mass_g)
    draws = tuple(_drawn(lots[lot_id], g) for lot_id, g in taking.parts_g.items())
    at = happened_at or works.now()
    made = _made(works, room, [lots[d.lot_id] for d in draws], draws, scale, at)
    made = replace(made, place=place, label=label or made.label)
    record(
        works,
        Entry(
            kind="combine",
            site=room.site,
            who=who,
            place=room.id,
            why=note,
            document=document,
            happened_at=at,
            inputs=draws,
            outputs=(made,),
            facts=_facts(room, taking),
        ),
    )
    return works.book.lot(made.lot_id)


def _moves(works: Works, room: Room) -> list[Move]:
    """Fillings and takings of a room, in order."""
    moves = []
    for event in works.book.events_in_force(kind=("split", "combine"), site=room.site):
        if event.facts.get("room") != room.id:
            continue
        if event.kind == "split":
            moves += [Move(m.mass_g, m.lot_id) for m in event.outputs]
        else:
            moves.append(Move(sum(d.mass_g for d in event.inputs)))
    return moves


def _drawn(lot: LotState, mass_g: int) -> Draw:
    """A lot's part of a taking; never more dry matter than it has left."""
    if mass_g == lot.remaining_mass_g:
        return Draw(lot.lot_id, mass_g, lot.remaining_dry_g)
    dry_g = round(mass_g * lot.remaining_dry_g / lot.remaining_mass_g)
    return Draw(lot.lot_id, mass_g, min(dry_g, lot.remaining_dry_g))


def _made(
    works: Works,
    room: Room,
    lots: Sequence[LotState],
    draws: Sequence[Draw],
    scale: str,
    at: datetime,
) -> Made:
    mass_g, dry_g = sum(d.mass_g for d in draws), sum(d.dry_g for d in draws)
    mass_sd_kg = works.settings.meter_at(room.site, scale, "mass_kg", "scale").sd(mass_g / 1000.0)
    # Each part is as uncertain in moisture as the lot it came from; the parts are not independent
    # of the rest of their lots, so the doubts are added and not their squares.
    moisture = sum(d.mass_g * moisture_sd(lot) for d, lot in zip(draws, lots, strict=True))
    sd_kg = dry_sd_kg(mass_g / 1000.0, mass_sd_kg, 1.0 - dry_g / mass_g, moisture / mass_g)
    return Made(
        lot_id=new_lot_id(works, room.site, at),
        leaf=lots[0].leaf,
        form=lots[0].form,
        place="floor",
        mass_g=mass_g,
        dry_g=dry_g,
        mass_sd_g=mass_sd_kg * 1000.0,
        dry_sd_g=sd_kg * 1000.0,
        label=f"out of {room.name}",
        attributes={**shared_attributes(lots), TAKEN_FROM: room.id},
    )


def _facts(room: Room, taking: Taking) -> dict[str, Any]:
    return {
        "room": room.id,
        "rule": room.rule,
        "tanks": mixing_of(room).tanks,
        "cut": room.cut,
        "closed": dict(taking.closed_g),
    }
