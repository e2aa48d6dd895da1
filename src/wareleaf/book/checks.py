"""What the book refuses, each with one sentence. Nothing is written when it refuses.

`check` is for an event that is about to be recorded. `check_replay` is the part that must still
hold when history is replayed with a correction in place: masses, genealogy and times, but not
whether a lot was on hold or released then, for what was shipped was shipped.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

from wareleaf.book.event import Draw, Event, Made, Stream
from wareleaf.book.kinds import (
    FORMS,
    GAINS,
    KINDS,
    ROUNDING_LIMIT_G,
    SHAPES,
    check_facts,
    lots_named,
)
from wareleaf.book.lots import LotState, RunState
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
    if runs is not None:
        _check_run(event, runs)


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


def check_form(event: Event) -> None:
    """What can be told from the event alone."""
    _check_kind(event)
    for name in ("event_id", "site"):
        require(
            bool(getattr(event, name).strip()),
            name,
            getattr(event, name),
            f"{name} is empty; every event needs one.",
        )
    for draw in event.inputs:
        _check_draw(draw)
    for made in event.outputs:
        _check_made(made)
    for stream in event.streams:
        _check_stream(stream)
    _check_names(event)


def _check_kind(event: Event) -> None:
    require(
        event.kind in KINDS,
        "kind",
        event.kind,
        f"kind is {event.kind!r}; it must be one of {', '.join(KINDS)}.",
    )
    if event.kind == "correction":
        _check_correction(event)
        return
    require(
        not event.corrects,
        "corrects",
        event.corrects,
        f"Only a correction may supersede an event; this is a {event.kind}.",
    )
    _check_shape(event, event.kind)
    check_facts(event.kind, event.facts)


def _check_correction(event: Event) -> None:
    require(
        bool(event.corrects),
        "corrects",
        event.corrects,
        "A correction names no event; give the id of the event that it supersedes.",
    )
    reason = event.facts.get("reason")
    require(
        isinstance(reason, str) and bool(reason.strip()),
        "facts.reason",
        reason,
        "A correction gives no reason; say in facts.reason why the event was wrong.",
    )
    void = event.facts.get("void", False)
    require(
        isinstance(void, bool),
        "facts.void",
        void,
        f"facts.void is {void!r}; it must be true or false.",
    )
    if void:
        require(
            not (event.inputs or event.outputs or event.streams),
            "facts.void",
            void,
            "A correction that voids an event moves nothing; leave out what it would move.",
        )


def _check_shape(event: Event, kind: str) -> None:
    shape = SHAPES[kind]
    distinct = len({d.lot_id for d in event.inputs})
    for name, count, (low, high) in (
        ("inputs", distinct, shape.inputs),
        ("outputs", len(event.outputs), shape.outputs),
    ):
        require(
            low <= count <= high,
            name,
            count,
            f"A {kind} with {count} {name} makes no sense; it takes {_range(low, high)}.",
        )
    require(
        shape.streams or not event.streams,
        "streams",
        [s.name for s in event.streams],
        f"A {kind} moves nothing, so it has no streams.",
    )


def _range(low: int, high: int) -> str:
    if high == 0:
        return "none"
    if low == high:
        return f"exactly {low}"
    return f"{low} or more" if high > 1 else f"at most {high}"


def kg(mass_g: float) -> str:
    """Grams as kilograms for people, to the gram when it is small."""
    return f"{mass_g / 1000:,.3f}".rstrip("0").rstrip(".") + " kg"


def _check_grams(field: str, value: int) -> None:
    require(
        isinstance(value, int) and not isinstance(value, bool),
        field,
        value,
        f"{field} is {value!r}; the book keeps whole grams.",
    )


def _check_pair(what: str, mass_g: int, dry_g: int) -> None:
    _check_grams("mass_g", mass_g)
    _check_grams("dry_g", dry_g)
    require(
        mass_g >= 0,
        "mass_g",
        mass_g,
        f"The mass of {what} is {kg(mass_g)}; a mass cannot be negative.",
    )
    require(
        dry_g >= 0,
        "dry_g",
        dry_g,
        f"The dry matter of {what} is {kg(dry_g)}; it cannot be negative.",
    )
    require(
        dry_g <= mass_g,
        "dry_g",
        dry_g,
        f"The dry matter of {what} is {kg(dry_g)}, more than its mass of {kg(mass_g)}; "
        "it can be at most the mass.",
    )


def _check_draw(draw: Draw) -> None:
    _check_pair(f"the draw from lot {draw.lot_id}", draw.mass_g, draw.dry_g)
    require(
        draw.mass_g > 0,
        "mass_g",
        draw.mass_g,
        f"The draw from lot {draw.lot_id} is 0 kg; leave it out or say how much was taken.",
    )


def _check_made(made: Made) -> None:
    what = f"lot {made.lot_id}"
    require(bool(made.lot_id.strip()), "lot_id", made.lot_id, "A new lot has no id; give one.")
    _check_pair(what, made.mass_g, made.dry_g)
    require(
        made.mass_g > 0,
        "mass_g",
        made.mass_g,
        f"The mass of {what} is 0 kg; a lot must weigh something.",
    )
    require(
        made.form in FORMS,
        "form",
        made.form,
        f"The form of {what} is {made.form!r}; it must be one of {', '.join(FORMS)}.",
    )
    for name, value in (("mass_sd_g", made.mass_sd_g), ("dry_sd_g", made.dry_sd_g)):
        require(
            isinstance(value, (int, float)) and math.isfinite(value) and value >= 0,
            name,
            value,
            f"{name} of {what} is {value}; an uncertainty must be 0 g or more.",
        )


def _check_stream(stream: Stream) -> None:
    require(bool(stream.name.strip()), "name", stream.name, "A stream has no name; give it one.")
    if stream.name == "rounding":
        _check_grams("mass_g", stream.mass_g)
        _check_grams("dry_g", stream.dry_g)
        worst = max(abs(stream.mass_g), abs(stream.dry_g))
        require(
            worst <= ROUNDING_LIMIT_G,
            "streams.rounding",
            worst,
            f"The rounding stream is {worst} g; it may be at most {ROUNDING_LIMIT_G} g, "
            "so that it hides nothing.",
        )
        return
    if stream.name in GAINS and stream.mass_g < 0:
        _check_pair(f"the gain of {stream.name}", -stream.mass_g, -stream.dry_g)
        return
    _check_pair(f"the stream {stream.name}", stream.mass_g, stream.dry_g)
    require(
        stream.name != "water" or stream.dry_g == 0,
        "dry_g",
        stream.dry_g,
        "Water carries no dry matter; book what is dissolved in it as leached.",
    )


def _check_names(event: Event) -> None:
    made = [m.lot_id for m in event.outputs]
    drawn = {d.lot_id for d in event.inputs}
    seen: set[str] = set()
    for lot_id in made:
        require(
            lot_id not in seen,
            "lot_id",
            lot_id,
            f"Lot {lot_id} is made twice in the same event; each new lot needs its own id.",
        )
        seen.add(lot_id)
        require(
            lot_id not in drawn,
            "lot_id",
            lot_id,
            f"Lot {lot_id} would be made out of itself; give the new lot its own id.",
        )


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
            f"{name} is {moment.isoformat()}, in the future; it is {now.isoformat()} now.",
        )
    require(
        event.happened_at <= event.recorded_at,
        "recorded_at",
        event.recorded_at.isoformat(),
        f"recorded_at is {event.recorded_at.isoformat()}, before it happened at "
        f"{event.happened_at.isoformat()}.",
    )


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
            f"This {event.kind} happened at {event.happened_at.isoformat()}, before its lot "
            f"{lot_id} was made at {made_at.isoformat()}.",
        )
    for made in event.outputs:
        require(
            made.lot_id not in lots,
            "lot_id",
            made.lot_id,
            f"The lot id {made.lot_id} is already used; choose a new one.",
        )
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


def _check_run(event: Event, runs: Mapping[str, RunState]) -> None:
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
            f"The run {run_id} was already finished at {done.isoformat() if done else ''}; "
            "correct that event instead.",
        )
        require(
            event.happened_at >= runs[run_id].started_at,
            "happened_at",
            event.happened_at.isoformat(),
            f"The run {run_id} would finish at {event.happened_at.isoformat()}, before it "
            f"started at {runs[run_id].started_at.isoformat()}.",
        )
