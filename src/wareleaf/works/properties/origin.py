"""Of which lines and fields a lot is, and of which grades, with the doubt of the weighings."""

from __future__ import annotations

from collections.abc import Mapping

from wareleaf.book.properties_origin import UNKNOWN, Drawn, Mixing, Share, shares_of
from wareleaf.works.house import Works
from wareleaf.works.properties.season import Season, reach

_KEEP_GRADES = ("combine", "split", "blend", "pack", "rework", "receive_back")


def _mixings(season: Season, lot_id: str) -> dict[str, Mixing]:
    """How the lot and all above it were made, with the doubt of each draw."""
    found = {}
    for lot in (lot_id, *reach([lot_id], season.parents)):
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


def origins_of(works: Works, season: Season, lot_id: str) -> dict[str, Share]:
    """Share of each line or field, by its name."""
    names = {s.id: s.name for s in works.settings.source}
    mixings = _mixings(season, lot_id)
    marks = {}
    for lot in (lot_id, *reach([lot_id], season.parents)):
        source = season.made[lot].attributes.get("source")
        if source and lot not in mixings:
            marks[lot] = {str(names.get(source, source)): 1.0}
    return shares_of(lot_id, mixings, marks)


def grades_of(season: Season, lot_id: str) -> dict[str, Share]:
    """Share of each grade since the sifter; empty when none is known."""
    mixings = {
        lot: m
        for lot, m in _mixings(season, lot_id).items()
        if season.maker[lot].kind in _KEEP_GRADES and lot not in season.judged
    }
    marks = {}
    for lot in (lot_id, *reach([lot_id], season.parents)):
        attributes = season.made[lot].attributes
        if isinstance(attributes.get("grades"), Mapping):
            marks[lot] = {str(k): float(v) for k, v in attributes["grades"].items()}
        elif attributes.get("grade") and lot not in mixings:
            marks[lot] = {str(attributes["grade"]): 1.0}
    found = shares_of(lot_id, mixings, marks)
    return found if set(found) != {UNKNOWN} else {}
