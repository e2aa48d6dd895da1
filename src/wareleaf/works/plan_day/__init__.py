"""Plan the day of a site from its book and settings; plan again when something breaks.

- `plan_site` plans anew, `replan` moves as little as possible from the stored plan
- `stored_plan`, `plans_kept`: the plan in force and the last ones
- `room_for_more`: how much more leaf of a source fits
- `changed_since`: what the stored plan does not know yet
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from pydantic import ValidationError

from wareleaf.measure.errors import BadInput, require
from wareleaf.works.expected import expected
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.plan_day.make import checked, make, room_beside, stand
from wareleaf.works.plan_day.outages import Outage, outages, report
from wareleaf.works.plan_day.shown import (
    DayLimits,
    DayPlan,
    LimitGroup,
    OutOfOrder,
    PlannedDecision,
    PlannedLighting,
    PlannedLoad,
    PlannedMove,
    PlannedRun,
    RoomFor,
    from_json,
)

__all__ = [
    "DayLimits",
    "DayPlan",
    "LimitGroup",
    "OutOfOrder",
    "Outage",
    "PlannedDecision",
    "PlannedLighting",
    "PlannedLoad",
    "PlannedMove",
    "PlannedRun",
    "RoomFor",
    "changed_since",
    "from_json",
    "outages",
    "plan_site",
    "plans_kept",
    "replan",
    "report",
    "room_for_more",
    "stored_plan",
]

MOST_KEPT = 10
GRACE = timedelta(minutes=20)  # a run may begin this late before anyone is told. Own choice.


def plan_site(works: Works, who: str, site_id: str, time_limit_s: float = 8.0) -> DayPlan:
    """Plan today and tomorrow of a site anew, check the plan, store it.

    Parameters
    ----------
    works : Works
        Open.
    who : str
        A person who may plan.
    site_id : str
        Which site.
    time_limit_s : float
        Most seconds for the solver; less is taken when the models need long, so that the answer
        is there within ten seconds. 0 gives the plain dispatch plan.

    Returns
    -------
    DayPlan
        As stored.

    Raises
    ------
    BadInput
        For an unknown site, a person who may not, or when no plan keeps its own rules.
    """
    works.settings.site_of(site_id)
    acting(works, who, "plan the day", site_id)
    _check_limit(time_limit_s)
    return _store(works, make(works, who, site_id, time_limit_s))


def replan(
    works: Works,
    who: str,
    site_id: str,
    machine_id: str = "",
    from_at: datetime | None = None,
    until_at: datetime | None = None,
    *,
    note: str = "",
    redo_share: float = 1.0,
    time_limit_s: float = 8.0,
) -> DayPlan:
    """Plan again from now on, moving as little as possible from the stored plan.

    Parameters
    ----------
    works, who, site_id
        As for `plan_site`.
    machine_id, from_at, until_at
        A machine that has broken down, from when (now when left out) to when it is expected back.
        The outage is noted in the book and holds for later plans too. Without a machine the plan
        is brought up to date with what came in and what is late.
    note : str
        What happened.
    redo_share : float
        Share of an interrupted stage that has to be run again (1: all of it).
    time_limit_s : float
        As for `plan_site`.

    Returns
    -------
    DayPlan
        As stored; ``moves`` lists every run that left its place.
    """
    works.settings.site_of(site_id)
    acting(works, who, "plan the day", site_id)
    _check_limit(time_limit_s)
    if machine_id:
        machine = works.settings.equipment_of(machine_id)
        require(
            machine.site == site_id,
            "machine_id",
            machine_id,
            f"{machine.name} stands at another site.",
        )
        if until_at is None:
            raise BadInput(
                "until_at", None, "until_at is missing; say when the machine is expected back."
            )
        begin = from_at or works.now()
        require(
            until_at > begin,
            "until_at",
            until_at.isoformat(),
            f"{machine.name}: the outage must end after it begins.",
        )
        report(works, who, machine_id, begin, until_at, note)
    kept = stored_plan(works, site_id)
    return _store(works, make(works, who, site_id, time_limit_s, kept, redo_share))


def room_for_more(works: Works, site_id: str, source_id: str, arrives_at: datetime) -> RoomFor:
    """How much more leaf of a source could arrive at a time, beside the plan in force.

    The floor is taken as it is now: what the stored plan does not know is placed first.

    Raises
    ------
    BadInput
        For a source of another site, a time outside the plan, or leaf no product is made of.
    """
    source = works.settings.source_of(source_id)
    require(source.site == site_id, "source", source_id, f"{source.name} belongs to another site.")
    if arrives_at.tzinfo is None:
        raise BadInput(
            "arrives_at", arrives_at.isoformat(), "arrives_at has no time zone; give its offset."
        )
    kept = stored_plan(works, site_id)
    board, before = stand(works, site_id, outages(works, site_id), kept)
    plan, _ = checked(board.day, 0.0, before if kept is not None else None)
    return room_beside(works, board, plan, source_id, arrives_at)


def stored_plan(works: Works, site_id: str) -> DayPlan | None:
    """The plan in force of a site; None when there is none that can be read."""
    return _read(works.book.settings_get(_key(site_id)))


def plans_kept(works: Works, site_id: str) -> tuple[DayPlan, ...]:
    """The last plans of a site, newest first, the one in force among them."""
    kept = works.book.settings_get(_key(site_id) + ":kept", [])
    return tuple(p for p in map(_read, kept) if p is not None)


def changed_since(works: Works, plan: DayPlan) -> tuple[str, ...]:
    """What happened at the site since a plan was made that it does not know, in sentences."""
    known = {r for x in plan.loads for r in x.refs}
    now, told = works.now(), []
    taken = [
        sum(m.mass_g for m in e.outputs) / 1000.0
        for e in works.book.events_in_force(kind="intake", since=plan.made_at, site=plan.site_id)
        if not {m.lot_id for m in e.outputs} <= known
    ]
    if taken:
        told.append(f"Taken in since: {_loads(taken)}.")
    coming = [
        x.mass_kg
        for x in expected(works, plan.site_id, now, plan.until_at)
        if x.expected_id not in known
    ]
    if coming:
        told.append(f"Announced since: {_loads(coming)}.")
    told += _not_begun(works, plan, now)
    out = {(o.machine_id, o.until_at) for o in plan.outages}
    for o in outages(works, plan.site_id):
        if (o.machine_id, o.until_at) not in out:
            name = works.settings.equipment_of(o.machine_id).name
            told.append(f"{name} is out of order until {o.until_at:%H:%M}.")
    return tuple(told)


def _loads(masses_kg: Sequence[float]) -> str:
    count = len(masses_kg)
    return f"{count} load{'' if count == 1 else 's'} ({sum(masses_kg):.0f} kg)"


def _not_begun(works: Works, plan: DayPlan, now: datetime) -> list[str]:
    """Leaf that should be on its first machine by now and still lies where it lay."""
    first: dict[str, PlannedRun] = {}
    for run in sorted(plan.runs, key=lambda r: r.start_at):
        first.setdefault(run.load_id, run)
    kinds = {x.load_id: x.kind for x in plan.loads}
    told = []
    for load_id, run in first.items():
        if kinds[load_id] != "waiting" or run.start_at + GRACE > now:
            continue
        lots = works.book.lots(ids=run.refs)
        if all(lot.remaining_mass_g == lot.mass_g and not lot.on_runs for lot in lots):
            told.append(f"{load_id} was to start on {run.machine} at {run.start_at:%H:%M}.")
    return told


def _key(site_id: str) -> str:
    return f"plan:{site_id}"


def _read(kept: Any) -> DayPlan | None:
    if kept is None:
        return None
    try:
        return from_json(kept)
    except ValidationError:
        return None  # kept by another version of the program: plan anew


def _store(works: Works, plan: DayPlan) -> DayPlan:
    shown = plan.to_json()
    key = _key(plan.site_id)
    before = works.book.settings_get(key + ":kept", [])
    works.book.settings_put(key + ":kept", [shown, *before][:MOST_KEPT])
    works.book.settings_put(key, shown)
    return plan


def _check_limit(time_limit_s: float) -> None:
    require(
        0.0 <= time_limit_s <= 60.0,
        "time_limit_s",
        time_limit_s,
        f"time_limit_s is {time_limit_s:g}; it must be from 0 to 60.",
    )
