"""What a correction must keep to beyond the book's own rules, and what follows from it.

What a job refuses when it is recorded is refused in a correction of it too: a signature that is
edited, a harvest that loads or coolings name, a load of another harvest's field, a return before
its shipment, more out of a rework than went in, a witness who is the recorder. A waiting interval
or a time of cutting that is corrected holds the leaf that it now says was cut too early, in the
same writing.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.destroy import refuse_own_witness
from wareleaf.works.growing import Wait, harvest_of, late_holds, waits_of
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import refuse_more_out
from wareleaf.works.returns import refuse_before_shipment

# Who may sign is who may take it back: a correction is no way round a role.
SIGNED = {
    "release": "release a lot",
    "limit_confirmed": "confirm a limit",
    "result": "record a result",
}


def check_signed(works: Works, who: str, event: Event, changes: Mapping[str, Any]) -> None:
    """A signature is not edited: it is taken back, and given anew after a new look.

    Raises
    ------
    BadInput
        When it would be edited, or taken back by someone who may not sign.
    """
    kind = str(event.facts.get("kind", event.kind))
    if kind not in SIGNED:
        return
    acting(works, who, SIGNED[kind], event.site)
    if kind != "result" and "facts" in changes:
        raise BadInput(
            "facts",
            event.event_id,
            "What was signed cannot be changed by a correction; take it out and sign again.",
        )


def check_corrected(works: Works, who: str, old: Event, new: Event | None) -> None:
    """Refuse what the job itself would refuse.

    Parameters
    ----------
    old : Event
        As meant before.
    new : Event or None
        As meant after; None when it is taken out.

    Raises
    ------
    BadInput
        With one sentence that names what contradicts.
    """
    if old.kind == "harvest":
        _check_harvest(works, old, new)
    if new is None:
        return
    if new.kind == "intake" and new.facts.get("harvest") and _differ(old, new, "harvest", "source"):
        _check_load(works, new)
    elif new.kind == "cooling" and new.facts.get("harvest_id") and _differ(old, new, "harvest_id"):
        harvest_of(works, str(new.facts["harvest_id"]))
    elif new.kind == "receive_back":
        customer = str(new.facts["customer"])
        for draw in new.inputs:
            refuse_before_shipment(works, draw.lot_id, customer, new.happened_at)
    elif new.kind == "rework":
        lots = works.book.lots(ids=[d.lot_id for d in new.inputs])
        out_g = sum(m.mass_g for m in new.outputs) + sum(s.mass_g for s in new.streams)
        refuse_more_out(lots, sum(d.mass_g for d in new.inputs), out_g)
    elif new.kind == "destroy" and _differ(old, new, "witness"):
        known = {person.id for person in works.settings.person}
        for person_id in known.intersection({who, new.who}):
            refuse_own_witness(works, person_id, str(new.facts["witness"]))


def holds_after(works: Works, who: str, new: Event | None) -> list[Event]:
    """Holds on leaf that a corrected interval or time of cutting says was cut too early."""
    if new is None:
        return []
    zone = works.settings.zone
    if new.kind == "site_work":
        wait = Wait.of(new, zone)
        return late_holds(works, who, wait) if wait else []
    if new.kind == "intake" and new.facts.get("cut_at"):
        cut_at = datetime.fromisoformat(str(new.facts["cut_at"]))
        waits = [w for w in waits_of(works, str(new.facts["source"])) if w.covers(cut_at)]
        made = {m.lot_id: cut_at for m in new.outputs}
        return [h for w in waits[:1] for h in late_holds(works, who, w, made)]
    return []


def _differ(old: Event, new: Event, *names: str) -> bool:
    return any(old.facts.get(name) != new.facts.get(name) for name in names)


def _check_harvest(works: Works, old: Event, new: Event | None) -> None:
    """A harvest keeps its number and place while others name it; a number is given once."""
    name = str(old.facts["harvest_id"])
    after = str(new.facts["harvest_id"]) if new else ""
    if new is None or _differ(old, new, "harvest_id", "source"):
        loads = works.book.events_in_force(kind="intake")
        lots = [m.lot_id for e in loads if e.facts.get("harvest") == name for m in e.outputs]
        cooled = [
            e.event_id
            for e in works.book.events_in_force(kind="cooling")
            if e.facts.get("harvest_id") == name
        ]
        named = [f"load {k}" for k in lots] + [f"cooling {k}" for k in cooled]
        require(
            not named,
            "harvest_id",
            name,
            f"Harvest {name} is named by {', '.join(named[:3])}; correct that first.",
        )
    if new is not None and after != name:
        others = works.book.events_in_force(kind="harvest")
        require(
            after not in {str(e.facts["harvest_id"]) for e in others},
            "harvest_id",
            after,
            f"There is a harvest {after} already; give this one another number.",
        )


def _check_load(works: Works, new: Event) -> None:
    harvest = harvest_of(works, str(new.facts["harvest"]))
    require(
        harvest.source == new.facts["source"],
        "harvest",
        harvest.harvest_id,
        f"Harvest {harvest.harvest_id} was cut at {harvest.source}, this load is from "
        f"{new.facts['source']}; choose one of the two.",
    )
