"""Destroy leaf before a witness, with a paper: one lot, or all that a recall has put on hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from wareleaf.book import Draw, Event, LotState, Stream
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.recall import Recall, recall
from wareleaf.works.recall_fault import Fault
from wareleaf.works.record import Entry, draw, event_of, record, refuse_loose

JOB = "destroy leaf"


def destroy(
    works: Works,
    who: str,
    lot_id: str,
    mass_kg: float | None,
    *,
    method: str,
    witness: str,
    document: str,
    reason: str,
    happened_at: datetime | None = None,
) -> Event:
    """Destroy part or all of a lot.

    Parameters
    ----------
    method : str
        How: burnt, composted, to landfill...
    witness : str
        Who saw it; someone else than who records it.
    document : str
        Number of the paper that shows it.
    happened_at : datetime, optional
        When; now without it.

    Raises
    ------
    BadInput
        When one of them is missing, or the person may not.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, JOB, lot.site)
    _check(works, who, method, witness, document, reason)
    entry = _entry(who, [(lot, draw(lot, mass_kg))], method, witness, document, reason)
    return record(works, replace(entry, happened_at=happened_at))


def destroy_held(
    works: Works,
    who: str,
    fault: Fault,
    *,
    method: str,
    witness: str,
    document: str,
    reason: str,
) -> list[Event]:
    """Destroy every lot that a fault reached, is here and on hold: one entry a site, or nothing.

    Lots that are not on hold, or on a machine, are left alone.

    Raises
    ------
    BadInput
        When nothing of it is held, a fact is missing, or the person may not.
    """
    acting(works, who, JOB)
    _check(works, who, method, witness, document, reason)
    with works.book.draft() as draft:
        inside = replace(works, book=draft)
        lots = to_destroy(recall(inside, fault))
        if not lots:
            raise BadInput(
                "reason",
                fault.subject,
                "Nothing to destroy: no lot the fault reached is here, on hold and off the "
                "machines.",
            )
        events = []
        for site in dict.fromkeys(lot.site for lot in lots):
            acting(works, who, JOB, site)
            draws = [(lot, draw(lot)) for lot in lots if lot.site == site]
            refuse_loose(inside, [lot.lot_id for lot, _ in draws], {}, "destroy")
            events.append(event_of(inside, _entry(who, draws, method, witness, document, reason)))
        draft.append_many(events, now=works.now())
    return events


def to_destroy(found: Recall) -> list[LotState]:
    """Lots of a recall that are here, on hold and on no machine."""
    return [a.lot for a in found.here if a.lot.held_because and not a.lot.on_runs]


def _check(works: Works, who: str, method: str, witness: str, document: str, reason: str) -> None:
    for name, value, what in (
        ("method", method, "how it was destroyed"),
        ("witness", witness, "who saw it"),
        ("document", document, "the number of the paper that shows it"),
        ("reason", reason, "why it is destroyed"),
    ):
        require(bool(value.strip()), name, value, f"{name} is empty; give {what}.")
    refuse_own_witness(works, who, witness)


def refuse_own_witness(works: Works, who: str, witness: str) -> None:
    """Refuse a witness who is the one that records.

    Raises
    ------
    BadInput
        With one sentence.
    """
    me = works.settings.person_of(who)
    require(
        witness.strip().lower() not in (me.id.lower(), me.name.lower()),
        "witness",
        witness,
        f"{witness.strip()} records it; the witness is someone else.",
    )


def _entry(
    who: str,
    draws: Sequence[tuple[LotState, Draw]],
    method: str,
    witness: str,
    document: str,
    reason: str,
) -> Entry:
    return Entry(
        kind="destroy",
        site=draws[0][0].site,
        who=who,
        place=draws[0][0].place,
        why=reason.strip(),
        document=document,
        inputs=tuple(d for _, d in draws),
        streams=(
            Stream("destroyed", sum(d.mass_g for _, d in draws), sum(d.dry_g for _, d in draws)),
        ),
        facts={"method": method.strip(), "witness": witness.strip()},
    )
