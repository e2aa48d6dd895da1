"""Handle leaf between stages: combine, split, hold, free from hold, write off, count, correct."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from wareleaf.book import Draw, Event, LotState, Made, Stream, as_meant, correction_facts
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.correct_rules import check_corrected, check_signed, holds_after
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import (
    Entry,
    draw,
    dry_sd_kg,
    event_of,
    moisture_sd,
    new_lot_id,
    record,
)


def combine(
    works: Works,
    who: str,
    lot_ids: Sequence[str],
    *,
    place: str = "floor",
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> LotState:
    """Put all that remains of two or more lots of one leaf and form together."""
    lots = [works.book.lot(lot_id) for lot_id in dict.fromkeys(lot_ids)]
    require(len(lots) > 1, "lot_ids", list(lot_ids), "Combining takes two lots or more.")
    kinds = {(lot.leaf, lot.form, lot.site) for lot in lots}
    require(
        len(kinds) == 1,
        "lot_ids",
        list(lot_ids),
        "Only lots of one leaf, one form and one site can be combined; use a blend for others.",
    )
    first = lots[0]
    acting(works, who, "run a stage", first.site)
    draws = tuple(draw(lot) for lot in lots)
    at = happened_at or works.now()
    lot_id = new_lot_id(works, first.site, at)
    made = Made(
        lot_id=lot_id,
        leaf=first.leaf,
        form=first.form,
        place=place,
        mass_g=sum(d.mass_g for d in draws),
        dry_g=sum(d.dry_g for d in draws),
        mass_sd_g=sum(lot.mass_sd_g**2 for lot in lots) ** 0.5,
        dry_sd_g=sum(lot.dry_sd_g**2 for lot in lots) ** 0.5,
        label="combined",
        attributes=shared_attributes(lots),
    )
    entry = Entry(
        kind="combine",
        site=first.site,
        who=who,
        place=place,
        why=note,
        document=document,
        happened_at=at,
        inputs=draws,
        outputs=(made,),
    )
    record(works, entry)
    return works.book.lot(lot_id)


def shared_attributes(lots: Sequence[LotState]) -> dict[str, Any]:
    """What is true of all lots together; the leaf is as old as the oldest of it."""
    first = lots[0].attributes
    kept = {
        name: first[name]
        for name in ("source", "product", "grade")
        if name in first and all(lot.attributes.get(name) == first[name] for lot in lots)
    }
    cuts = [str(lot.attributes["cut_at"]) for lot in lots if lot.attributes.get("cut_at")]
    if cuts:
        kept["cut_at"] = min(cuts, key=datetime.fromisoformat)
    return kept


def split(
    works: Works,
    who: str,
    lot_id: str,
    masses_kg: Sequence[float],
    *,
    meter: str = "",
    drawn_kg: float | None = None,
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> list[LotState]:
    """Split a lot into weighed parts.

    ``drawn_kg`` is what was taken out of the lot (all that remains by default). What the parts do
    not account for stays visible as unexplained.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, "run a stage", lot.site)
    require(len(masses_kg) > 0, "masses_kg", list(masses_kg), "Give the mass of each part.")
    for mass_kg in masses_kg:
        require(
            mass_kg > 0.0, "masses_kg", mass_kg, f"A part of {mass_kg:g} kg: it must be above 0."
        )
    taken = draw(lot, drawn_kg)
    _refuse_made_of_nothing(lot, taken, masses_kg)
    sd = works.settings.meter_at(lot.site, meter, "mass_kg").sd if meter else (lambda m: 0.002 * m)
    at = happened_at or works.now()
    parts = []
    for mass_kg in masses_kg:
        parts.append(
            Made(
                lot_id=new_lot_id(works, lot.site, at),
                leaf=lot.leaf,
                form=lot.form,
                place=lot.place,
                mass_g=round(mass_kg * 1000.0),
                dry_g=round(mass_kg * 1000.0 * (1.0 - lot.moisture_wb)),
                mass_sd_g=sd(mass_kg) * 1000.0,
                # The part is as uncertain in moisture as the lot it came from.
                dry_sd_g=dry_sd_kg(mass_kg, sd(mass_kg), lot.moisture_wb, moisture_sd(lot))
                * 1000.0,
                label=lot.label,
                attributes=lot.attributes,
            )
        )
    record(
        works,
        Entry(
            kind="split",
            site=lot.site,
            who=who,
            place=lot.place,
            why=note,
            document=document,
            happened_at=at,
            inputs=(taken,),
            outputs=tuple(parts),
            facts={"meter": meter},
        ),
    )
    return [works.book.lot(part.lot_id) for part in parts]


def _refuse_made_of_nothing(lot: LotState, taken: Draw, masses_kg: Sequence[float]) -> None:
    """Parts may outweigh what was drawn by what scales can be off, not by more.

    A part that is missing stays visible as unexplained; leaf that was never there is a mistake.
    """
    drawn_kg, parts_kg = taken.mass_g / 1000.0, sum(masses_kg)
    sd_kg = (lot.mass_sd_g / 1000.0 + 0.005 * drawn_kg) * 3.0
    if parts_kg > drawn_kg + sd_kg:
        raise BadInput(
            "masses_kg",
            parts_kg,
            f"The parts weigh {parts_kg:g} kg together, more than the {drawn_kg:g} kg drawn from "
            f"{lot.lot_id}; weigh again, or correct the weight of {lot.lot_id} first.",
        )


def hold(
    works: Works,
    who: str,
    lot_id: str,
    reason: str,
    *,
    document: str = "",
    happened_at: datetime | None = None,
) -> Event:
    """Put a lot on hold, as `hold_all`; the event of the lot itself."""
    return hold_all(works, who, lot_id, reason, document=document, happened_at=happened_at)[0]


def hold_all(
    works: Works,
    who: str,
    lot_id: str,
    reason: str,
    *,
    document: str = "",
    happened_at: datetime | None = None,
) -> tuple[Event, ...]:
    """Put a lot on hold, and all that was made of it and is still here; its own event first.

    Held leaf cannot be packed, blended or shipped until it is freed. What already left is not
    reached: `trace` says who has it. A lot that was made after ``happened_at`` is held from its
    making on.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, "hold a lot", lot.site)
    require(bool(reason.strip()), "reason", reason, "reason is empty; say why the lot is held.")
    made_of_it = [
        each
        for each in works.book.lots(ids=works.book.lots_below(lot_id), in_stock_only=True)
        if not each.held_because
    ]
    events = [
        event_of(
            works,
            Entry(
                kind="hold",
                site=each.site,
                who=who,
                why=reason,
                document=document,
                happened_at=(
                    max(happened_at, each.made_at)
                    if happened_at and each.lot_id != lot_id
                    else happened_at
                ),
                facts={
                    "lot_id": each.lot_id,
                    "reason": reason.strip()
                    if each.lot_id == lot_id
                    else f"made of {lot_id}: {reason.strip()}",
                },
            ),
        )
        for each in (lot, *made_of_it)
    ]
    works.book.append_many(events, now=works.now())
    return tuple(events)


def free(
    works: Works,
    who: str,
    lot_id: str,
    reason: str,
    *,
    document: str = "",
    happened_at: datetime | None = None,
) -> Event:
    """Take a lot off hold without releasing it to a market; only who may release may do that."""
    lot = works.book.lot(lot_id)
    acting(works, who, "release a lot", lot.site)
    require(bool(reason.strip()), "reason", reason, "reason is empty; say why it is freed.")
    facts = {"lot_id": lot_id, "markets": [], "reason": reason.strip()}
    return record(
        works,
        Entry(
            kind="release",
            site=lot.site,
            who=who,
            why=reason,
            document=document,
            happened_at=happened_at,
            facts=facts,
        ),
    )


def write_off(
    works: Works,
    who: str,
    lot_id: str,
    mass_kg: float | None,
    reason: str,
    *,
    document: str = "",
    happened_at: datetime | None = None,
) -> Event:
    """Waste part or all of a lot."""
    lot = works.book.lot(lot_id)
    acting(works, who, "hold a lot", lot.site)
    require(bool(reason.strip()), "reason", reason, "reason is empty; say why it is wasted.")
    taken = draw(lot, mass_kg)
    entry = Entry(
        kind="waste",
        site=lot.site,
        who=who,
        place=lot.place,
        why=reason,
        document=document,
        happened_at=happened_at,
        inputs=(taken,),
        streams=(Stream("waste", taken.mass_g, taken.dry_g),),
        facts={"reason": reason.strip()},
    )
    return record(works, entry)


def correct(
    works: Works,
    who: str,
    event_id: str,
    reason: str,
    *,
    void: bool = False,
    changes: dict[str, Any] | None = None,
) -> Event:
    """Correct an event: the old one stays readable, everything derived is recomputed.

    ``changes`` replaces fields of the event (``inputs``, ``outputs``, ``streams``, ``facts``,
    ``happened_at``, ``document``, ``place``); ``void`` takes the event out altogether. Facts are
    those of the event itself (`book.as_meant`), so the reason of a hold is the hold's.
    """
    require(bool(reason.strip()), "reason", reason, "reason is empty; say what was wrong.")
    found = works.book.event(event_id)
    acting(works, who, "correct the book", found.event.site)
    changes = changes or {}
    check_signed(works, who, found.event, changes)
    allowed = {"inputs", "outputs", "streams", "facts", "happened_at", "document", "place"}
    unknown = set(changes) - allowed
    if unknown:
        name = sorted(unknown)[0]
        raise BadInput(
            name, None, f"{name} cannot be corrected; only {', '.join(sorted(allowed))}."
        )
    old = as_meant(found.event)
    emptied = replace(old, inputs=(), outputs=(), streams=()) if void else old
    new = replace(emptied, **changes)
    check_corrected(works, who, old, None if void else new)
    kind = str(found.event.facts.get("kind", found.event.kind))  # a correction keeps its line's
    facts = correction_facts(new.facts, kind, reason.strip(), void=void)
    correction = event_of(
        works,
        Entry(
            kind="correction",
            site=new.site,
            who=who,
            place=new.place,
            why=reason,
            document=new.document,
            happened_at=new.happened_at,
            inputs=new.inputs,
            outputs=new.outputs,
            streams=new.streams,
            facts=facts,
            corrects=event_id,
        ),
    )
    holds = holds_after(works, who, None if void else new)
    works.book.append_many([correction, *holds], now=(holds or [correction])[-1].recorded_at)
    return correction
