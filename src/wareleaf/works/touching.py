"""Loads that touch on a belt: how much of the one may have come off with the other.

Leaf does not stay on a belt for the same time to the minute. What was fed within two standard
deviations of the touch may come off on its other side, so up to that much of each load may lie in
the lot of the other (two standard deviations: 95 % of leaf, were the times normal; our own choice).
The spread of the time is the machine's ``residence_spread``. The event that starts the load after
keeps the estimate; shares and balances do not count it, a trace and a recall say it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf.book import Event, LotState
from wareleaf.works.following import OWN_SETTING, all_on_at, open_runs_on
from wareleaf.works.house import Works
from wareleaf.works.machines import fed_all_the_time
from wareleaf.works.settings import Equipment
from wareleaf.works.sight import Sight

TOUCH_SD = 2.0
SAID_KG = 0.05
"""Less than this is not spoken of, kg as fed (our own choice)."""


@dataclass(frozen=True)
class Side:
    """One of two loads that touched: what went on, what came off, kilograms off for one on."""

    on: tuple[str, ...]
    off: tuple[str, ...]
    yield_kg: float | None

    @property
    def names(self) -> str:
        """The lots that came off, or that still lie on the machine."""
        return ", ".join(self.off or self.on)

    def meets(self, ids: set[str]) -> bool:
        """Whether any of some lots is of this load."""
        return not ids.isdisjoint((*self.on, *self.off))


def mixed_kg(
    spread: float, residence_h: float, feed_kg_h: float, gap_h: float, loads_kg: Sequence[float]
) -> float:
    """Most of one load that may come off with the other, kg as fed.

    Parameters
    ----------
    spread : float
        Standard deviation of the time on the belt, over that time.
    residence_h, feed_kg_h, gap_h : float
        Time on the belt, feed, and the time for which the belt was not fed between the loads.
    loads_kg : sequence of float
        What each load weighs; no more than the smaller can mix.
    """
    near_h = max(TOUCH_SD * spread * residence_h - max(gap_h, 0.0), 0.0)
    return min(near_h * feed_kg_h, *loads_kg)


def touch_of(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    at: datetime,
) -> dict[str, object] | None:
    """What the event that starts a load keeps of the load before it; None when none is there."""
    open_runs = open_runs_on(works, machine) if fed_all_the_time(machine) else []
    if not open_runs or "residence_h" not in settings:
        return None
    before = open_runs[-1]
    there = works.book.lots(ids=before.lots)
    on_at = all_on_at(before, there)
    gap_h = 0.0 if on_at is None else max((at - on_at) / timedelta(hours=1), 0.0)
    feeds = [float(s.get(OWN_SETTING, 0.0)) for s in (before.settings, settings)]
    loads_kg = [sum(lot.remaining_mass_g for lot in some) / 1000.0 for some in (there, lots)]
    spread = machine.residence_spread
    mixed = mixed_kg(spread, settings["residence_h"], max(feeds), gap_h, loads_kg)
    return {
        "run_id": before.run_id,
        "mixed_kg": round(mixed, 3),
        "residence_spread": spread,
        "gap_h": round(gap_h, 4),
    }


def touches_said(works: Sight, lot_ids: Iterable[str]) -> tuple[str, ...]:
    """What some lots may hold of loads beside them on a belt, or those of them, in sentences.

    A touch of which both loads are among the lots is not spoken of: all of both is counted.
    """
    ids = set(lot_ids)
    machines = {m.id: m for m in works.settings.equipment if fed_all_the_time(m)}
    found: dict[str, Event] = {}
    for event in _drawn_by(works, ids):
        if event.facts["equipment"] in machines:
            found |= {e.event_id: e for e in _followers(works, event)}
            if event.facts.get("touch"):
                found[event.event_id] = event
    said = []
    for event in sorted(found.values(), key=lambda e: (e.happened_at, e.event_id)):
        before, after = _started(works, str(event.facts["touch"]["run_id"])), _side(works, event)
        if before is None or event.facts["touch"]["mixed_kg"] < SAID_KG:
            continue
        first = _side(works, before)
        if first.meets(ids) != after.meets(ids):
            name = machines[event.facts["equipment"]].name
            said.append(_sentence(works, event, name, first, after, first.meets(ids)))
    return tuple(said)


def _drawn_by(works: Sight, ids: set[str]) -> list[Event]:
    """Starts of the runs that some lots went into or came out of."""
    ends = works.book.events_in_force(kind="stage_finished", lot_id=ids)
    runs = {str(e.facts["run_id"]) for e in ends}
    inputs = {d.lot_id for e in ends for d in e.inputs}
    starts = works.book.events_in_force(kind="stage_started", lot_id=ids | inputs)
    return [e for e in starts if e.facts["run_id"] in runs or not ids.isdisjoint(e.facts["lots"])]


def _followers(works: Sight, before: Event) -> list[Event]:
    """Starts of loads that touched a load: while it was on the machine."""
    (run,) = works.book.runs(ids=[str(before.facts["run_id"])])
    until = (run.finished_at or works.now()) + timedelta(seconds=1)
    near = works.book.events_in_force(kind="stage_started", since=before.happened_at, until=until)
    return [e for e in near if (e.facts.get("touch") or {}).get("run_id") == run.run_id]


def _started(works: Sight, run_id: str) -> Event | None:
    runs = works.book.runs(ids=[run_id])
    if not runs:  # taken out of the book since
        return None
    starts = works.book.events_in_force(kind="stage_started", lot_id=runs[0].lots)
    return next((e for e in starts if e.facts["run_id"] == run_id), None)


def _side(works: Sight, start: Event) -> Side:
    on = tuple(start.facts["lots"])
    ends = works.book.events_in_force(kind="stage_finished", lot_id=on)
    end = next((e for e in ends if e.facts["run_id"] == start.facts["run_id"]), None)
    if end is None:
        return Side(on, (), None)
    in_g = sum(d.mass_g for d in end.inputs)
    out_g = sum(m.mass_g for m in end.outputs)
    return Side(on, tuple(m.lot_id for m in end.outputs), out_g / in_g)


def _sentence(
    works: Sight, event: Event, machine: str, before: Side, after: Side, of_before: bool
) -> str:
    kg = float(event.facts["touch"]["mixed_kg"])
    asked, other = (before, after) if of_before else (after, before)
    at = event.happened_at.astimezone(works.settings.zone)
    side = "before" if of_before else "after"
    if other.yield_kg is None:
        much = f"{kg:.1f} kg as fed"
    else:
        much = f"{kg * other.yield_kg:.1f} kg ({kg:.1f} kg as fed)"
    return (
        f"Up to {much} at the touch in {other.names} may be of the load {side}, {asked.names}: the "
        f"two lay end to end on {machine} from {at:%Y-%m-%d %H:%M}, and leaf there may come off on "
        f"either side. It is not counted here; look at {other.names} and what was made of it too "
        "where that matters."
    )
