"""What one lot holds: measured here, told by its relatives, or only usual for its leaf."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf as leaves
from wareleaf.book.properties_origin import Share
from wareleaf.works.cost_lot import LotCost, lot_cost
from wareleaf.works.house import Works
from wareleaf.works.properties.believe import Known, beliefs
from wareleaf.works.properties.carry import MOISTURE, Told
from wareleaf.works.properties.origin import grades_of, origins_of
from wareleaf.works.properties.season import Season, reach

MEASURED, RELATIVES, BOOKED = "measured", "from relatives", "as booked"
LIKE_IT, USUAL = "from lots like it", "usual for the leaf"
_ORDER = (MEASURED, BOOKED, RELATIVES, LIKE_IT, USUAL)
ODD = 4.0  # standard deviations (own choice)
_MOST_TOLD = 3
_LEAST_PULL = 0.05  # of the lot's own uncertainty: a result that moves it less is not named


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
        it shares leaf with counts; ``from lots like it`` when others of such leaf have results;
        ``as booked`` for a moisture without a result; else ``usual for the leaf``.
    grounds : tuple of Ground
        Results on the lot and its relatives that it rests on most.
    others : int
        How many results there are on other lots of such leaf; they tell what is usual here.
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
    others: int
    usual: str


@dataclass(frozen=True)
class LotProperties:
    """All that is known of what a lot holds and carries.

    Parameters
    ----------
    lot_id : str
        The lot.
    properties : tuple of Property
        What is known best first.
    origins : mapping of str to Share
        Share of each line or field, by its name.
    grades : mapping of str to Share
        Share of each grade; empty when none is known.
    cost : LotCost or None
        Money, energy and greenhouse gas; only when asked for.
    odd : tuple of str
        Sentences on results on it or its relatives that lie far from all that is known.
    left_out : tuple of str
        Results that could not be used.
    """

    lot_id: str
    properties: tuple[Property, ...]
    origins: Mapping[str, Share]
    grades: Mapping[str, Share]
    cost: LotCost | None
    odd: tuple[str, ...]
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
    found = [_property(lot_id, k, related) for k in known]
    return LotProperties(
        lot_id,
        tuple(sorted(found, key=lambda p: _ORDER.index(p.kind))),
        origins_of(works, season, lot_id),
        grades_of(season, lot_id),
        lot_cost(works, lot_id) if with_cost else None,
        tuple(said for k in known for said in _odd(k, related)),
        tuple(dict.fromkeys(s for k in known for s in k.given.left_out)),
    )


def _property(lot_id: str, known: Known, related: Mapping[str, str]) -> Property:
    about, seen = known.given, known.belief.of(lot_id)
    grounds, others = _grounds(lot_id, known, related)
    mine = any(t.finding.lot_id == lot_id for t in about.told)
    if about.parameter == MOISTURE:
        value, sd = _wet(seen.mean, seen.sd)
        kind = MEASURED if mine else RELATIVES if grounds else BOOKED
        usual = "weighed and measured when it was made, or taken from what it was made of"
        return Property(MOISTURE, "%", "wet", value, sd, kind, tuple(grounds), 0, usual)
    kind = MEASURED if mine else RELATIVES if grounds else LIKE_IT if others else USUAL
    return Property(
        about.parameter,
        about.unit,
        "dry",
        max(seen.mean, 0.0),
        seen.sd,
        kind,
        tuple(grounds),
        others,
        _usual_words(known),
    )


def _odd(known: Known, related: Mapping[str, str]) -> Iterator[str]:
    for told, far in zip(known.given.told, known.oddness, strict=True):
        if abs(far) > ODD and told.finding.lot_id in related:
            facts = told.event.facts
            name = known.given.parameter.replace("_", " ")
            yield (
                f"{name} {float(facts['value']):.3g} {facts['unit']} on {told.finding.lot_id} "
                f"({facts['sample_id']}) lies {abs(far):.0f} standard deviations "
                f"{'above' if far > 0.0 else 'below'} what all else leads to expect: check the "
                "result, the sample and the lot; what is said here of its relatives may be wrong."
            )


def _wet(ratio: float, sd: float) -> tuple[float, float]:
    """Percent wet basis from kg water per kg dry matter, to first order."""
    ratio = max(ratio, 0.0)
    return 100.0 * ratio / (1.0 + ratio), 100.0 * sd / (1.0 + ratio) ** 2


def _usual_words(known: Known) -> str:
    about = known.given
    said = []
    for leaf, usual in sorted(about.usual.items()):
        name = leaves.profile(leaf).name
        words = f"{name} usually {usual.mean:.3g} {about.unit} ({usual.evidence})"
        said.append(f"{words}: {usual.note}" if usual.note else words)
    return "; ".join(said)


def _grounds(lot_id: str, known: Known, related: Mapping[str, str]) -> tuple[list[Ground], int]:
    """Results on the lot and its relatives that move the estimate, most first, and other ones."""
    told = known.given.told
    if not told:
        return [], 0
    pulls = np.abs(known.belief.weights(lot_id)) * known.surprises
    counts = pulls >= _LEAST_PULL * known.belief.of(lot_id).sd
    found = [
        _ground(known, told[k], related[told[k].finding.lot_id], float(pulls[k]))
        for k in np.flatnonzero(counts)
        if told[k].finding.lot_id in related
    ]
    found.sort(key=lambda g: (-g.pull, g.lot_id))
    return found[:_MOST_TOLD], sum(t.finding.lot_id not in related for t in told)


def _ground(known: Known, told: Told, relation: str, pull: float) -> Ground:
    value, facts = told.finding.value, told.event.facts
    unit = known.given.unit
    if known.given.parameter == MOISTURE:
        (value, pull), unit = _wet(value, pull), "%"
    return Ground(
        told.finding.lot_id,
        relation,
        value,
        unit,
        pull,
        f"{facts.get('laboratory', '')} {facts['sample_id']}".strip(),
        told.event.event_id,
    )


def _related(season: Season, lot_id: str) -> dict[str, str]:
    """What other lots are to this one."""
    above = reach([lot_id], season.parents)
    children: dict[str, list[str]] = {}
    for lot in season.made:
        for parent in season.parents(lot):
            children.setdefault(parent, []).append(lot)
    below = reach([lot_id], lambda lot: children.get(lot, ()))
    beside = reach(above, lambda lot: children.get(lot, ()))
    found = dict.fromkeys(beside, "shares leaf with it")
    found |= dict.fromkeys(below, "made of it")
    found |= dict.fromkeys(above, "it was made of")
    return found | {lot_id: "this lot"}
