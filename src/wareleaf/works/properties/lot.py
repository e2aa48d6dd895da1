"""What one lot holds: measured here, told by its relatives, or only usual for its leaf."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wareleaf import leaf as leaves
from wareleaf.book.properties_origin import Drawn, Mixing, Share, shares_of
from wareleaf.works.cost_lot import LotCost, lot_cost
from wareleaf.works.house import Works
from wareleaf.works.properties.believe import Beliefs, Known, beliefs
from wareleaf.works.properties.carry import MOISTURE
from wareleaf.works.properties.season import Season

MEASURED, RELATIVES, USUAL, BOOKED = "measured", "from relatives", "usual for the leaf", "as booked"
_MOST_TOLD = 3
_LEAST_PULL = 0.05  # of the lot's own uncertainty: a result that moves it less is not named
_KEEP_GRADES = ("combine", "split", "blend", "pack")


@dataclass(frozen=True)
class Ground:
    """A result that an estimate rests on.

    Parameters
    ----------
    lot_id, relation : str
        Lot it was found on, and what that is to this lot.
    value, unit : float, str
        On dry matter (moisture: wet basis).
    pull : float
        How far a surprise of one standard deviation in it moves the estimate, in its unit.
    reference : str
        Laboratory and sample.
    event_id : str
        Where it stands.
    """

    lot_id: str
    relation: str
    value: float
    unit: str
    pull: float
    reference: str
    event_id: str


@dataclass(frozen=True)
class Property:
    """One property of a lot.

    Parameters
    ----------
    parameter, unit, basis : str
        Contents on dry matter, moisture on wet basis.
    value, sd : float
        Best value and standard uncertainty.
    kind : str
        ``measured`` when the lot itself has a result; ``from relatives`` when a result on a lot
        it shares leaf with counts; ``as booked`` for a moisture without a result; else ``usual
        for the leaf``.
    grounds : tuple of Ground
        Results it rests on most.
    usual : str
        What was taken before any result.
    """

    parameter: str
    unit: str
    basis: str
    value: float
    sd: float
    kind: str
    grounds: tuple[Ground, ...]
    usual: str


@dataclass(frozen=True)
class LotProperties:
    """All that is known of what a lot holds and carries.

    Parameters
    ----------
    lot_id : str
        The lot.
    properties : tuple of Property
        Moisture first.
    origins : mapping of str to Share
        Share of each line or field, by its name.
    grades : mapping of str to Share
        Share of each grade; empty when none is known.
    cost : LotCost or None
        Money, energy and greenhouse gas; only when asked for.
    left_out : tuple of str
        Results that could not be used.
    """

    lot_id: str
    properties: tuple[Property, ...]
    origins: Mapping[str, Share]
    grades: Mapping[str, Share]
    cost: LotCost | None
    left_out: tuple[str, ...]


def lot_properties(works: Works, lot_id: str, *, with_cost: bool = False) -> LotProperties:
    """What a lot holds, with what it rests on.

    Parameters
    ----------
    works : Works
        Open works.
    lot_id : str
        The lot, as it was made; a part of it may differ a little.
    with_cost : bool
        Also what it has cost, which takes longer.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    believed = beliefs(works)
    at, season = believed.season_of(lot_id)
    related = _related(season, lot_id)
    known = list(believed.all_known(at))
    return LotProperties(
        lot_id,
        tuple(_property(season, lot_id, k, related) for k in known),
        _origins(works, season, lot_id),
        _grades(season, lot_id),
        lot_cost(works, lot_id) if with_cost else None,
        tuple(dict.fromkeys(s for k in known for s in k.given.left_out)),
    )


def _property(season: Season, lot_id: str, known: Known, related: Mapping[str, str]) -> Property:
    about, seen = known.given, known.belief.of(lot_id)
    grounds = _grounds(lot_id, known, related)
    on = {g.relation for g in grounds}
    mine = any(t.finding.lot_id == lot_id for t in about.told)
    if about.parameter == MOISTURE:
        value, sd = _wet(seen.mean, seen.sd)
        kind = MEASURED if mine else RELATIVES if grounds else BOOKED
        return Property(MOISTURE, "%", "wet", value, sd, kind, grounds, "as weighed and measured")
    kind = MEASURED if mine else RELATIVES if on - {_OTHER} else USUAL
    return Property(
        about.parameter,
        about.unit,
        "dry",
        max(seen.mean, 0.0),
        seen.sd,
        kind,
        grounds,
        _usual_words(known, season, lot_id),
    )


def _wet(ratio: float, sd: float) -> tuple[float, float]:
    """Percent wet basis from kg water per kg dry matter, to first order."""
    ratio = max(ratio, 0.0)
    return 100.0 * ratio / (1.0 + ratio), 100.0 * sd / (1.0 + ratio) ** 2


def _usual_words(known: Known, season: Season, lot_id: str) -> str:
    about = known.given
    said = []
    for leaf, usual in sorted(about.usual.items()):
        name = leaves.profile(leaf).name
        words = f"{name} usually {usual.mean:.3g} {about.unit} ({usual.evidence})"
        said.append(f"{words}: {usual.note}" if usual.note else words)
    return "; ".join(said)


def _grounds(lot_id: str, known: Known, related: Mapping[str, str]) -> tuple[Ground, ...]:
    """The results that move the estimate most."""
    belief = known.belief
    if not known.given.told:
        return ()
    weights = belief.weights(lot_id)
    own_sd = belief.of(lot_id).sd
    found = []
    for weight, told in zip(weights, known.given.told, strict=True):
        if not weight:
            continue
        row = belief.net.spread[[belief.net.row(told.finding.lot_id)]]
        surprise = math.hypot(float((row.multiply(row)).sum()) ** 0.5, told.finding.sd)
        pull = abs(float(weight)) * surprise
        if pull < _LEAST_PULL * own_sd:
            continue
        value, facts = told.finding.value, told.event.facts
        if known.given.parameter == MOISTURE:
            value, pull = _wet(value, pull)
        found.append(
            Ground(
                told.finding.lot_id,
                related.get(told.finding.lot_id, _OTHER),
                value,
                "%" if known.given.parameter == MOISTURE else known.given.unit,
                pull,
                f"{facts.get('laboratory', '')} {facts['sample_id']}".strip(),
                told.event.event_id,
            )
        )
    found.sort(key=lambda g: (-g.pull, g.lot_id))
    return tuple(found[:_MOST_TOLD])


_OTHER = "another lot of such leaf"


def _related(season: Season, lot_id: str) -> dict[str, str]:
    """What other lots are to this one."""
    above = _reach([lot_id], season.parents)
    children: dict[str, list[str]] = {}
    for lot in season.made:
        for parent in season.parents(lot):
            children.setdefault(parent, []).append(lot)
    below = _reach([lot_id], lambda lot: children.get(lot, ()))
    beside = _reach(above, lambda lot: children.get(lot, ()))
    found = dict.fromkeys(beside, "shares leaf with it")
    found |= dict.fromkeys(below, "made of it")
    found |= dict.fromkeys(above, "it was made of")
    return found | {lot_id: "this lot"}


def _reach(start: Iterable[str], near: object) -> set[str]:
    seen: set[str] = set()
    waiting = list(start)
    while waiting:
        for lot in near(waiting.pop()):  # type: ignore[operator]
            if lot not in seen:
                seen.add(lot)
                waiting.append(lot)
    return seen


def _mixings(season: Season, lot_id: str) -> dict[str, Mixing]:
    """How the lot and all above it were made, with the doubt of each draw."""
    found = {}
    for lot in (lot_id, *_reach([lot_id], season.parents)):
        event = season.maker.get(lot)
        drawn = tuple(
            Drawn(d.lot_id, float(d.dry_g), _relative_sd(season, d.lot_id))
            for d in (event.inputs if event else ())
        )
        if event and drawn:
            found[lot] = Mixing(event.event_id, drawn)
    return found


def _relative_sd(season: Season, lot: str) -> float:
    made = season.made.get(lot)
    return made.dry_sd_g / made.dry_g if made and made.dry_g else 0.0


def _origins(works: Works, season: Season, lot_id: str) -> dict[str, Share]:
    names = {s.id: s.name for s in works.settings.source}
    mixings = _mixings(season, lot_id)
    marks = {}
    for lot in (lot_id, *_reach([lot_id], season.parents)):
        source = season.made[lot].attributes.get("source")
        if source and lot not in mixings:
            marks[lot] = {str(names.get(source, source)): 1.0}
    return shares_of(lot_id, mixings, marks)


def _grades(season: Season, lot_id: str) -> dict[str, Share]:
    mixings = {
        lot: m
        for lot, m in _mixings(season, lot_id).items()
        if season.maker[lot].kind in _KEEP_GRADES
    }
    marks = {}
    for lot in (lot_id, *_reach([lot_id], season.parents)):
        attributes = season.made[lot].attributes
        if isinstance(attributes.get("grades"), Mapping):
            marks[lot] = {str(k): float(v) for k, v in attributes["grades"].items()}
        elif attributes.get("grade") and lot not in mixings:
            marks[lot] = {str(attributes["grade"]): 1.0}
    found = shares_of(lot_id, mixings, marks)
    return found if set(found) != {"unknown"} else {}


__all__ = ["Beliefs", "Ground", "LotProperties", "Property", "lot_properties"]
