"""From events to what is: lots, runs, holds, releases, with every correction in its place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from wareleaf.book.checks import check_replay, check_run
from wareleaf.book.corrections import effective, in_order
from wareleaf.book.drawing import came_back_because, drawn
from wareleaf.book.event import Event
from wareleaf.book.kind_facts import ITEM_LISTS
from wareleaf.book.lots import LotState, RunState
from wareleaf.book.pallet_rules import PalletWatch, pallets_after
from wareleaf.measure.errors import BadInput, require

INHERITS_RELEASE = ("split", "pack")
"""The same material under a new id: released for the markets that all its inputs are."""


@dataclass(frozen=True)
class Book:
    """Everything that is derived from the events.

    Parameters
    ----------
    lots, runs : mapping
        By id.
    events : tuple of Event
        The events in force, corrections in place, in the order they were folded. An event that
        was corrected keeps its own id and kind here.
    superseded_by : mapping
        Event id to the id of the correction that supersedes it.
    """

    lots: Mapping[str, LotState]
    runs: Mapping[str, RunState]
    events: tuple[Event, ...]
    superseded_by: Mapping[str, str]

    def of_kind(self, *kinds: str) -> tuple[Event, ...]:
        """The events in force of some kinds."""
        return tuple(e for e in self.events if e.kind in kinds)

    @property
    def readings(self) -> tuple[Event, ...]:
        """Readings in force."""
        return self.of_kind("reading")

    @property
    def results(self) -> tuple[Event, ...]:
        """Laboratory results in force."""
        return self.of_kind("result")

    @property
    def releases(self) -> tuple[Event, ...]:
        """Releases in force."""
        return self.of_kind("release")

    @property
    def holds(self) -> Mapping[str, str]:
        """Reason by lot id, for the lots on hold."""
        return {k: v.held_because for k, v in self.lots.items() if v.held_because}


def apply(lots: Mapping[str, LotState], event: Event) -> dict[str, LotState]:
    """The lots that an event changes or makes, after it. A pure step; checks are `check`'s.

    Parameters
    ----------
    lots : mapping
        At least the lots that the event names.
    event : Event
        In force; never a correction (`fold` puts those in place of what they correct).
    """
    require(
        event.kind != "correction",
        "kind",
        event.kind,
        "A correction is folded in place of what it corrects, not applied.",
    )
    changed: dict[str, LotState] = {}
    for draw in event.inputs:
        lot = changed.get(draw.lot_id, lots[draw.lot_id])
        changed[draw.lot_id] = drawn(lot, event, draw)
    held, released = inherited(lots, event)
    for made in event.outputs:
        changed[made.lot_id] = LotState(
            lot_id=made.lot_id,
            leaf=made.leaf,
            form=made.form,
            place=made.place or event.place,
            site=event.site,
            made_by=event.event_id,
            made_at=event.happened_at,
            mass_g=made.mass_g,
            dry_g=made.dry_g,
            mass_sd_g=made.mass_sd_g,
            dry_sd_g=made.dry_sd_g,
            label=made.label,
            attributes=made.attributes,
            held_because=held,
            released_for=released,
        )
    _apply_standing(lots, event, changed)
    return changed


def inherited(lots: Mapping[str, LotState], event: Event) -> tuple[str, tuple[str, ...]]:
    """Why the new lots of an event are on hold, if they are, and what they are released for."""
    if event.kind == "receive_back":
        return came_back_because(event), ()
    parents = [lots[d.lot_id] for d in event.inputs]
    held = next((p for p in parents if p.held_because), None)
    if held:
        return f"made from held lot {held.lot_id}: {held.held_because}"[:400], ()
    if event.kind not in INHERITS_RELEASE or not parents:
        return "", ()
    markets = set(parents[0].released_for).intersection(*(p.released_for for p in parents))
    return "", tuple(sorted(markets))


def _apply_standing(
    lots: Mapping[str, LotState], event: Event, changed: dict[str, LotState]
) -> None:
    facts = event.facts

    def edit(lot_id: str, **fields: Any) -> None:
        changed[lot_id] = replace(changed.get(lot_id, lots[lot_id]), **fields)

    if event.kind == "hold":
        edit(facts["lot_id"], held_because=facts["reason"], released_for=())
    elif event.kind == "release":
        markets = {*lots[facts["lot_id"]].released_for, *facts["markets"]}
        edit(facts["lot_id"], held_because="", released_for=tuple(sorted(markets)))
    elif event.kind == "stage_started":
        for lot_id in facts["lots"]:
            runs = lots[lot_id].on_runs
            if facts["run_id"] not in runs:
                edit(lot_id, on_runs=(*runs, facts["run_id"]))
    elif event.kind == "grade":
        graded = lots[facts["lot_id"]].attributes
        edit(facts["lot_id"], attributes={**graded, "grade": facts["grade"]})
    elif event.kind in ITEM_LISTS:
        for item in facts["lots"]:
            lot = changed.get(item["lot_id"], lots[item["lot_id"]])
            edit(item["lot_id"], pallets=pallets_after(lot, event, item["mass_g"]))
    elif event.kind == "note" and facts.get("lot_id") and facts.get("moved_to"):
        edit(facts["lot_id"], place=str(facts["moved_to"]))


def lots_of_finished_run(
    lots: Mapping[str, LotState], event: Event, runs: Mapping[str, RunState]
) -> dict[str, LotState]:
    """The lots that a finished run lets go of: those it was started with."""
    run = runs.get(event.facts.get("run_id", "")) if event.kind == "stage_finished" else None
    if run is None:
        return {}
    return {
        lot_id: replace(
            lots[lot_id], on_runs=tuple(r for r in lots[lot_id].on_runs if r != run.run_id)
        )
        for lot_id in run.lots
        if lot_id in lots
    }


def apply_run(runs: Mapping[str, RunState], event: Event) -> RunState | None:
    """The stage run that an event starts or finishes, after it; None when it does neither."""
    if event.kind == "stage_started":
        facts = event.facts
        return RunState(
            run_id=facts["run_id"],
            stage=facts["stage"],
            equipment=facts["equipment"],
            site=event.site,
            lots=tuple(facts["lots"]),
            settings=facts["settings"],
            started_at=event.happened_at,
            started_by=event.event_id,
        )
    run = runs.get(event.facts.get("run_id", "")) if event.kind == "stage_finished" else None
    if run is None:
        return None
    return replace(run, finished_at=event.happened_at, finished_by=event.event_id)


def step(lots: dict[str, LotState], runs: dict[str, RunState], event: Event) -> set[str]:
    """Apply an event in force to both tables in place and return the ids of the changed lots."""
    changed = apply(lots, event)
    lots.update(changed)
    freed = lots_of_finished_run(lots, event, runs)
    lots.update(freed)
    run = apply_run(runs, event)
    if run is not None:
        runs[run.run_id] = run
    return {*changed, *freed}


def fold(
    events: Iterable[Event],
    watch: Callable[[Event, set[str]], None] | None = None,
    pallets: PalletWatch | None = None,
) -> Book:
    """The book after some events, every correction in the place of what it corrects.

    Parameters
    ----------
    events : iterable of Event
        In recorded order, corrections among them.
    watch : callable, optional
        Called after each event with the event and the ids of the lots it changed.
    pallets : PalletWatch, optional
        Gathers what breaks a rule of pallets; nothing is refused for it here.

    Raises
    ------
    BadInput
        When a correction does not fit: it would overdraw a lot, leave a descendant without its
        parent, or put a lot among its own ancestors.
    """
    current, superseded = effective(events)
    lots: dict[str, LotState] = {}
    runs: dict[str, RunState] = {}
    if superseded:
        current = in_order(current)
    for event in current:
        if superseded:
            check_in_place(event, lots, runs)
        else:
            check_replay(event, lots)
        if pallets is not None:
            pallets.before(event, lots)
        changed = step(lots, runs, event)
        if pallets is not None:
            pallets.after(changed, lots)
        if watch is not None:
            watch(event, changed)
    return Book(lots, runs, tuple(current), superseded)


def check_in_place(
    event: Event, lots: Mapping[str, LotState], runs: Mapping[str, RunState]
) -> None:
    """Refuse an event that does not hold in a history with a correction in place.

    Raises
    ------
    BadInput
        Naming the event.
    """
    try:
        check_replay(event, lots)
        check_run(event, runs)
    except BadInput as error:
        first = error.problems[0]
        text = (
            f"With the correction in place, the {event.kind} {event.event_id} "
            f"would no longer hold: {first.message}"
        )
        raise BadInput(first.field, first.value, text) from error
