"""What the book is made of: events that happened, with what went in, came out and was lost.

Masses are whole grams. An event is frozen; nothing is ever changed in place. A correction is a new
event that names the one it supersedes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypeAlias

JSON: TypeAlias = Any  # what json can carry: None, bool, number, string, list, mapping


@dataclass(frozen=True, slots=True)
class Draw:
    """What is taken out of an existing lot.

    Parameters
    ----------
    lot_id : str
        The lot.
    mass_g, dry_g : int
        Total mass and the dry matter in it, whole grams.
    """

    lot_id: str
    mass_g: int
    dry_g: int


@dataclass(frozen=True, slots=True)
class Made:
    """A new lot. Lots are never topped up: a top-up is a new lot made of the old and the addition.

    Parameters
    ----------
    lot_id : str
        Unique in the book.
    leaf : str
        Leaf profile id; the book does not know physics and only keeps it.
    form : str
        One of `wareleaf.book.FORMS`.
    place : str
        Where it lies.
    mass_g, dry_g : int
        Total mass and dry matter, whole grams.
    mass_sd_g, dry_sd_g : float
        Standard uncertainty of each, grams.
    label : str
        Free words for people.
    attributes : mapping
        Anything the works keeps with the lot (grade, supplier, line...), plain JSON.
    """

    lot_id: str
    leaf: str
    form: str
    place: str
    mass_g: int
    dry_g: int
    mass_sd_g: float
    dry_sd_g: float
    label: str = ""
    attributes: Mapping[str, JSON] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Stream:
    """A named loss that leaves the chain of lots (or, negative, a named gain such as water).

    Parameters
    ----------
    name : str
        ``water``, ``leached``, ``dust``, ``sample``, ``waste``, ``rounding`` and so on.
    mass_g, dry_g : int
        Whole grams; negative only for the gains in `wareleaf.book.GAINS`.
    """

    name: str
    mass_g: int
    dry_g: int


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened at the works.

    Parameters
    ----------
    event_id : str
        Unique in the book. The store fills an empty one.
    kind : str
        One of `wareleaf.book.KINDS`.
    happened_at, recorded_at : datetime
        With time zone; the offset is kept.
    site, place, who, why, document : str
        Where, who, why and the paper it rests on.
    inputs, outputs, streams : tuple
        What moved. See `wareleaf.book.unexplained` for the balance rule.
    facts : mapping
        What else belongs to this kind, plain JSON, checked by kind.
    corrects : str
        The id of the event that this correction supersedes.
    """

    event_id: str
    kind: str
    happened_at: datetime
    recorded_at: datetime
    site: str
    place: str = ""
    who: str = ""
    why: str = ""
    document: str = ""
    inputs: tuple[Draw, ...] = ()
    outputs: tuple[Made, ...] = ()
    streams: tuple[Stream, ...] = ()
    facts: Mapping[str, JSON] = field(default_factory=dict)
    corrects: str = ""


def event_to_json(event: Event) -> dict[str, JSON]:
    """The event as plain JSON data; times keep their offset."""
    return {
        "event_id": event.event_id,
        "kind": event.kind,
        "happened_at": event.happened_at.isoformat(),
        "recorded_at": event.recorded_at.isoformat(),
        "site": event.site,
        "place": event.place,
        "who": event.who,
        "why": event.why,
        "document": event.document,
        "inputs": [
            {"lot_id": d.lot_id, "mass_g": d.mass_g, "dry_g": d.dry_g} for d in event.inputs
        ],
        "outputs": [_made_to_json(m) for m in event.outputs],
        "streams": [{"name": s.name, "mass_g": s.mass_g, "dry_g": s.dry_g} for s in event.streams],
        "facts": event.facts,
        "corrects": event.corrects,
    }


def _made_to_json(made: Made) -> dict[str, JSON]:
    return {
        "lot_id": made.lot_id,
        "leaf": made.leaf,
        "form": made.form,
        "place": made.place,
        "mass_g": made.mass_g,
        "dry_g": made.dry_g,
        "mass_sd_g": made.mass_sd_g,
        "dry_sd_g": made.dry_sd_g,
        "label": made.label,
        "attributes": made.attributes,
    }


def event_from_json(data: Mapping[str, JSON]) -> Event:
    """The event back from `event_to_json`."""
    plain = {k: data[k] for k in ("event_id", "kind", "site", "place", "who", "why", "document")}
    return Event(
        **plain,
        happened_at=datetime.fromisoformat(data["happened_at"]),
        recorded_at=datetime.fromisoformat(data["recorded_at"]),
        inputs=tuple(Draw(**d) for d in data["inputs"]),
        outputs=tuple(
            Made(
                **{
                    **m,
                    "mass_sd_g": float(m["mass_sd_g"]),
                    "dry_sd_g": float(m["dry_sd_g"]),
                }
            )
            for m in data["outputs"]
        ),
        streams=tuple(Stream(**s) for s in data["streams"]),
        facts=data["facts"],
        corrects=data["corrects"],
    )
