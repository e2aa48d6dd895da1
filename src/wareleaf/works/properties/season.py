"""The movements of the book as properties need them: which lots were made of which."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from wareleaf.book import Event, Made
from wareleaf.book.kinds import MAKING
from wareleaf.works.house import Works

HEAD = (*MAKING, "stage_started", "result", "grade")
_WHOLE = 0.98  # of a lot's dry matter in one draw: taken as all of it (own choice)


@dataclass(frozen=True)
class Move:
    """One event that made lots.

    Parameters
    ----------
    event_id, stage, machine : str
        ``stage`` is the kind of the event where no stage ran.
    parents : mapping of str to float
        Shares of what went in by dry matter; a part of a lot has a name of its own. Empty for
        leaf that came in.
    children : mapping of str to float
        Dry matter of each lot, g.
    rise : float
        Dry matter that went in over what was left of it after leaching (under 1 when salt was
        taken up): by how much what stays rises per kg dry matter.
    iodine_kept : float or None
        As the bath model predicted at the start of the run.
    """

    event_id: str
    stage: str
    machine: str
    parents: Mapping[str, float]
    children: Mapping[str, float]
    rise: float
    iodine_kept: float | None


@dataclass(frozen=True)
class Part:
    """A lot that went several ways: each part with its dry matter, g, under its own name."""

    lot_id: str
    parts: Mapping[str, float]


@dataclass(frozen=True)
class Season:
    """All movements and results of leaf that hangs together, in order.

    Parameters
    ----------
    moves : tuple of Move
        In order.
    parted : tuple of Part
        Lots that went several ways.
    made : mapping of str to Made
        Lots by id.
    maker : mapping of str to Event
        Event in force that made each lot.
    results : tuple of Event
        In force.
    judged : frozenset of str
        Lots whose grade was set by a grading of the whole lot.
    """

    moves: tuple[Move, ...]
    parted: tuple[Part, ...]
    made: Mapping[str, Made]
    maker: Mapping[str, Event]
    results: tuple[Event, ...]
    judged: frozenset[str] = frozenset()

    def parents(self, lot_id: str) -> tuple[str, ...]:
        """Lots that a lot was made of."""
        return tuple(dict.fromkeys(d.lot_id for d in self.maker[lot_id].inputs))


def read_season(works: Works) -> list[Season]:
    """The book by families: leaf that never met is kept apart."""
    events = works.book.events_in_force(kind=HEAD)
    moving = [e for e in events if e.kind in MAKING and e.outputs]
    starts = {str(e.facts["run_id"]): e for e in events if e.kind == "stage_started"}
    family = _families(moving)
    groups: dict[str, list[Event]] = {}
    for event in moving:
        groups.setdefault(family[event.outputs[0].leaf], []).append(event)
    results: dict[str, list[Event]] = {}
    leaf_of = {m.lot_id: m.leaf for e in moving for m in e.outputs}
    for event in events:
        if event.kind == "result" and event.facts["lot_id"] in leaf_of:
            results.setdefault(family[leaf_of[event.facts["lot_id"]]], []).append(event)
    judged = {e.facts["lot_id"]: e.facts["grade"] for e in events if e.kind == "grade"}
    return [_season(group, starts, results.get(name, []), judged) for name, group in groups.items()]


def _families(moving: Sequence[Event]) -> dict[str, str]:
    """Leaf profiles that turn into one another, each under the name of one of them."""
    over: dict[str, str] = {}

    def top(leaf: str) -> str:
        while over.setdefault(leaf, leaf) != leaf:
            leaf = over[leaf]
        return leaf

    leaf_of = {m.lot_id: m.leaf for event in moving for m in event.outputs}
    for event in moving:
        met = [m.leaf for m in event.outputs]
        met += [leaf_of[d.lot_id] for d in event.inputs if d.lot_id in leaf_of]
        for leaf in met:
            over[top(leaf)] = top(met[0])
    return {leaf: top(leaf) for leaf in over}


def _season(
    moving: list[Event],
    starts: Mapping[str, Event],
    results: Iterable[Event],
    judged: Mapping[str, str],
) -> Season:
    made = {m.lot_id: m for e in moving for m in e.outputs}
    mine = judged.keys() & made.keys()
    for lot_id in mine:
        sifted = {k: v for k, v in made[lot_id].attributes.items() if k != "grades"}
        graded = {**sifted, "grade": judged[lot_id]}
        made[lot_id] = replace(made[lot_id], attributes=graded)
    maker = {m.lot_id: e for e in moving for m in e.outputs}
    draws: dict[str, dict[str, float]] = {}
    for event in moving:
        for d in event.inputs:
            by = draws.setdefault(d.lot_id, {})
            by[event.event_id] = by.get(event.event_id, 0.0) + float(d.dry_g)
    parted = {lot: _parted(made[lot], by) for lot, by in draws.items() if lot in made}
    moves = tuple(_move(e, starts, made, parted) for e in moving)
    kept = tuple(p for p in parted.values() if p is not None)
    return Season(moves, kept, made, maker, tuple(results), frozenset(mine))


def part_of(lot_id: str, event_id: str) -> str:
    """Name of the part of a lot that an event drew."""
    return f"{lot_id} to {event_id}"


def rest_of(lot_id: str) -> str:
    """Name of what no event drew of a lot."""
    return f"{lot_id} rest"


def _parted(lot: Made, by: Mapping[str, float]) -> Part | None:
    """The ways a lot went; None when all of it went one way."""
    whole = max(float(lot.dry_g), 1.0)
    rest = whole - sum(by.values())
    if len(by) == 1 and rest < (1.0 - _WHOLE) * whole:
        return None
    parts = {part_of(lot.lot_id, event_id): dry for event_id, dry in by.items()}
    if rest >= (1.0 - _WHOLE) * whole:
        parts[rest_of(lot.lot_id)] = rest
    return Part(lot.lot_id, parts)


def _move(
    event: Event,
    starts: Mapping[str, Event],
    made: Mapping[str, Made],
    parted: Mapping[str, Part | None],
) -> Move:
    dry: dict[str, float] = {}
    for d in event.inputs:
        if d.lot_id in made:
            name = part_of(d.lot_id, event.event_id) if parted[d.lot_id] else d.lot_id
            dry[name] = dry.get(name, 0.0) + float(d.dry_g)
    went_in = sum(dry.values())
    even = 1.0 / len(dry) if dry else 0.0
    out = {m.lot_id: float(m.dry_g) for m in event.outputs}
    start = starts.get(str(event.facts.get("run_id", "")))
    predicted = start.facts.get("predicted", {}) if start is not None else {}
    return Move(
        event_id=event.event_id,
        stage=str(event.facts.get("stage", event.kind)),
        machine=str(event.facts.get("equipment", "")),
        parents={k: v / went_in if went_in else even for k, v in dry.items()},
        children=out if sum(out.values()) > 0.0 else dict.fromkeys(out, 1.0),
        rise=_rise(event, went_in),
        iodine_kept=predicted.get("iodine_kept"),
    )


def _rise(event: Event, went_in: float) -> float:
    leached = sum(s.dry_g for s in event.streams if s.name in ("leached", "added"))
    left = went_in - leached
    return went_in / left if went_in > 0.0 and left > 0.05 * went_in else 1.0


def reach(start: Iterable[str], near: Callable[[str], Iterable[str]]) -> set[str]:
    """Lots reached from some, step by step to their near ones."""
    seen: set[str] = set()
    waiting = list(start)
    while waiting:
        for lot in near(waiting.pop()):
            if lot not in seen:
                seen.add(lot)
                waiting.append(lot)
    return seen
