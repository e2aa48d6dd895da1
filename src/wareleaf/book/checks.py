"""What the book refuses, each with one sentence. Nothing is written when it refuses.

`check` is for an event that is about to be recorded. `check_replay` is the part that must still
hold when history is replayed with a correction in place: masses, genealogy and times, but not
whether a lot was on hold or released then, for what was shipped was shipped.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from wareleaf.book.drawing import check_came_back
from wareleaf.book.event import Event
from wareleaf.book.forms import check_form, kg
from wareleaf.book.kinds import lots_named
from wareleaf.book.lots import LotState, RunState
from wareleaf.book.pallet_rules import check_pallets
from wareleaf.measure.errors import BadInput, require

OVERDRAW_SD = 3.0
"""A draw that was weighed may exceed what the book has left by this many standard uncertainties
of the lot (our own choice: the usual three-sigma convention)."""

NOT_WHILE_HELD = ("ship", "pack", "blend")


def check(
    event: Event,
    lots: Mapping[str, LotState],
    now: datetime,
    runs: Mapping[str, RunState] | None = None,
) -> None:
    """Refuse an event that cannot be true, or is not allowed now.

    Parameters
    ----------
    event : Event
        About to be recorded. For a correction, only its own form is checked here; `fold` of the
        history with it in place checks the rest.
    lots : mapping
        At least the lots that the event touches, as they are now.
    now : datetime
        With time zone.
    runs : mapping, optional
        Stage runs by id; when given, a run must be started before it is finished, once.

    Raises
    ------
    BadInput
        With one sentence.
    """
    check_form(event)
    _check_times(event, now)
    if event.kind == "correction":
        return
    check_replay(event, lots)
    check_standing(event, lots)
    check_pallets(event, lots)
    if runs is not None:
        check_run(event, runs)


def check_standing(event: Event, lots: Mapping[str, LotState]) -> None:
    """Holds and releases: what may not be shipped, packed or blended now.

    Raises
    ------
    BadInput
        With one sentence.
    """
    _check_held(event, lots)
    if event.kind == "ship":
        _check_released(event, lots)


def _check_times(event: Event, now: datetime) -> None:
    for name, moment in (("happened_at", event.happened_at), ("recorded_at", event.recorded_at)):
        require(
            moment.tzinfo is not None and moment.utcoffset() is not None,
            name,
            moment.isoformat(),
            f"{name} is {moment.isoformat()} without a time zone; "
            "give the offset too, like 2026-04-12T06:30+02:00.",
        )
        require(
            moment <= now,
            name,
            moment.isoformat(),
            f"{name} is {_shown(moment, event)}, in the future; it is {_shown(now, event)} now.",
        )
    require(
        event.happened_at <= event.recorded_at,
        "recorded_at",
        event.recorded_at.isoformat(),
        f"recorded_at is {_shown(event.recorded_at, event)}, before it happened at "
        f"{_shown(event.happened_at, event)}.",
    )


def _shown(moment: datetime, event: Event) -> str:
    """A time as people read it, on the clock on which the event was told."""
    return f"{moment.astimezone(event.happened_at.tzinfo):%Y-%m-%d %H:%M:%S}"


def check_replay(event: Event, lots: Mapping[str, LotState]) -> None:
    """Masses, genealogy and times against the lots as they stand before the event.

    Raises
    ------
    BadInput
        With one sentence.
    """
    for lot_id in lots_named(event):
        require(
            lot_id in lots,
            "lot_id",
            lot_id,
            f"There is no lot {lot_id}; name a lot that the book has.",
        )
        made_at = lots[lot_id].made_at
        require(
            event.happened_at >= made_at,
            "happened_at",
            event.happened_at.isoformat(),
            f"This {event.kind} happened at {_shown(event.happened_at, event)}, before its lot "
            f"{lot_id} was made at {_shown(made_at, event)}.",
        )
    for made in event.outputs:
        require(
            made.lot_id not in lots,
            "lot_id",
            made.lot_id,
            f"The lot id {made.lot_id} is already used; choose a new one.",
        )
    if event.kind == "receive_back":
        check_came_back(event, lots)
    else:
        _check_overdraw(event, lots)


def _check_overdraw(event: Event, lots: Mapping[str, LotState]) -> None:
    drawn: dict[str, tuple[int, int]] = {}
    for d in event.inputs:
        mass, dry = drawn.get(d.lot_id, (0, 0))
        drawn[d.lot_id] = (mass + d.mass_g, dry + d.dry_g)
    for lot_id, (mass, dry) in drawn.items():
        lot = lots[lot_id]
        left = lot.mass_g - lot.drawn_mass_g
        if left <= 0 or mass > left + OVERDRAW_SD * lot.mass_sd_g:
            raise BadInput(
                "mass_g",
                mass,
                f"Lot {lot_id} would be used twice over: {kg(mass)} are asked for and "
                f"{kg(lot.remaining_mass_g)} remain.",
            )
        left_dry = lot.dry_g - lot.drawn_dry_g
        if dry > max(left_dry, 0) + OVERDRAW_SD * lot.dry_sd_g:
            raise BadInput(
                "dry_g",
                dry,
                f"Lot {lot_id} would give more dry matter than it has: {kg(dry)} are asked for "
                f"and {kg(lot.remaining_dry_g)} of dry matter remain.",
            )


def _check_held(event: Event, lots: Mapping[str, LotState]) -> None:
    if event.kind not in NOT_WHILE_HELD:
        return
    for draw in event.inputs:
        reason = lots[draw.lot_id].held_because
        require(
            not reason,
            "lot_id",
            draw.lot_id,
            f"Lot {draw.lot_id} is on hold ({reason}); release it before you {event.kind} it.",
        )


def _check_released(event: Event, lots: Mapping[str, LotState]) -> None:
    market = event.facts["market"]
    for draw in event.inputs:
        markets = lots[draw.lot_id].released_for
        have = f"it is released for {', '.join(markets)}" if markets else "it is not released"
        require(
            market in markets,
            "market",
            market,
            f"Lot {draw.lot_id} cannot ship to {market}: {have}; release it for {market} first.",
        )


def check_run(event: Event, runs: Mapping[str, RunState]) -> None:
    """A run is started once, before it is read or finished, and finished once.

    Raises
    ------
    BadInput
        With one sentence.
    """
    run_id = event.facts.get("run_id", "")
    if event.kind == "stage_started":
        require(
            run_id not in runs,
            "facts.run_id",
            run_id,
            f"The run {run_id} was already started; give the new run its own id.",
        )
    elif event.kind == "stage_finished" or (event.kind == "reading" and run_id):
        require(
            run_id in runs,
            "facts.run_id",
            run_id,
            f"There is no run {run_id}; start it first.",
        )
    if event.kind == "stage_finished":
        done = runs[run_id].finished_at
        require(
            done is None,
            "facts.run_id",
            run_id,
            f"The run {run_id} was already finished at {_shown(done, event) if done else ''}; "
            "correct that event instead.",
        )
        require(
            event.happened_at >= runs[run_id].started_at,
            "happened_at",
            event.happened_at.isoformat(),
            f"The run {run_id} would finish at {_shown(event.happened_at, event)}, before it "
            f"started at {_shown(runs[run_id].started_at, event)}.",
        )
