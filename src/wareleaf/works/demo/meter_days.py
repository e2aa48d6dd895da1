"""Paired readings: each moisture meter against the oven on the same leaf."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from wareleaf.works import run_stage
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.lab_days import LAB
from wareleaf.works.demo.season import YARDS, Season

# Weekdays on which a meter is tried, Monday first.
TRIED: Mapping[str, tuple[int, ...]] = {
    "kelp-quick": (0, 1, 2, 3, 4, 5),
    "kelp-balance": (1, 3, 5),
    "tea-quick": (0, 2, 4, 5),
    "tea-balance": (0, 3),
}


def pairs(season: Season, day: date) -> Doing:
    """The day's pairs, on the dried leaf that came last."""
    chance = season.chance("pairs", day)
    yield season.at(day, 15.0 + chance.minutes(0.0, 40.0))
    for meter, weekdays in TRIED.items():
        if day.weekday() not in weekdays:
            continue
        site = season.works.settings.meter_of(meter).site
        dried = season.works.book.lots(site=site, form="dried", in_stock_only=True)
        if not dried:
            continue
        lot = dried[-1].lot_id
        true = season.leaves[lot].moisture_wb
        run_stage.record_reading(
            season.works,
            LAB,
            lot_id=lot,
            meter=meter,
            value=season.meters.read(meter, true, chance, season.now),
            reference_value=season.meters.read(YARDS[site].oven, true, chance, season.now),
            note="tried against the oven",
        )
        yield season.now + hours(chance.minutes(3.0, 8.0))
