"""The form of an event: what can be told wrong from the event alone, each with one sentence."""

from __future__ import annotations

import math

from wareleaf.book.event import Draw, Event, Made, Stream
from wareleaf.book.kind_facts import NEEDS_PAPER
from wareleaf.book.kinds import (
    FORMS,
    GAINS,
    KINDS,
    ROUNDING_LIMIT_G,
    SHAPES,
    check_facts,
)
from wareleaf.measure.errors import require

LONGEST_ID = 80


def check_form(event: Event) -> None:
    """What can be told from the event alone."""
    _check_kind(event)
    for name in ("event_id", "site"):
        _check_id(name, getattr(event, name))
    for name in ("place", "who", "why", "document", "corrects"):
        _check_text(name, getattr(event, name))
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
    for lot in event.facts.get("lots", ()) if event.kind == "stage_started" else ():
        _check_id("facts.lots", lot)
    require(
        not event.corrects,
        "corrects",
        event.corrects,
        f"Only a correction may supersede an event; this is {a_kind(event.kind)}.",
    )
    _check_shape(event, event.kind)
    check_facts(event.kind, event.facts)
    require(
        event.kind not in NEEDS_PAPER or bool(event.document.strip()),
        "document",
        event.document,
        f"{a_kind(event.kind).capitalize()} names no document; give the number of the paper that "
        "shows it.",
    )


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
            f"{a_kind(kind).capitalize()} with {count} {name} makes no sense; "
            f"it takes {_range(low, high)}.",
        )
    require(
        shape.streams or not event.streams,
        "streams",
        [s.name for s in event.streams],
        f"{a_kind(kind).capitalize()} moves nothing, so it has no streams.",
    )


def a_kind(kind: str) -> str:
    """A kind with its article, for people."""
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind.replace('_', ' ')}"


def _range(low: int, high: int) -> str:
    if high == 0:
        return "none"
    if low == high:
        return f"exactly {low}"
    return f"{low} or more" if high > 1 else f"at most {high}"


def _check_text(field: str, value: str) -> None:
    require(
        isinstance(value, str) and "\x00" not in value,
        field,
        value,
        f"{field} is {value!r}; it must be a text without control characters.",
    )


def _check_id(field: str, value: str) -> None:
    _check_text(field, value)
    require(
        bool(value.strip()) and value == value.strip() and value.isprintable(),
        field,
        value,
        f"{field} is {value!r}; it must be a text that is not empty, with no blanks around it.",
    )
    require(
        len(value) <= LONGEST_ID,
        field,
        value,
        f"{field} has {len(value)} characters; it may have at most {LONGEST_ID}.",
    )


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
    _check_id("lot_id", made.lot_id)
    for name in ("leaf", "place", "label"):
        _check_text(name, getattr(made, name))
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
    _check_id("stream", stream.name)
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
