"""Days at the demo's kelp works: from the boat to flake and powder."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from wareleaf.book import Stream
from wareleaf.works.demo import outcomes
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.growing_days import harvested, kept_cool
from wareleaf.works.demo.lab_days import kelp_bench
from wareleaf.works.demo.outcomes import Drying
from wareleaf.works.demo.season import YARDS, Season
from wareleaf.works.demo.truth import Chance, kelp
from wareleaf.works.run_stage import Off

SITE = "kelp"
YARD = YARDS[SITE]
BELTS = ("belt-1", "belt-2")
FEED_KG_H = 260.0
# Moisture that the demo's operators steer at, a little below the profile's target.
STEER_AT_WB = 0.095
USUAL_BELT_H = {"sugar_kelp_blanched": 4.6, "wakame_blade": 2.3}
LATEST_OFF_H = 23.8
FIRST_BELT_H = 7.6
OVERLOADED_DAYS_AGO = 23

# What is landed on a weekday, Monday first: line and usual mass, kg.
LANDINGS: tuple[tuple[tuple[str, float], ...], ...] = (
    (("line-01", 1050.0), ("line-02", 1000.0)),
    (("line-05", 1080.0), ("line-11", 760.0)),
    (("line-02", 1040.0), ("line-01", 980.0)),
    (("line-01", 1060.0), ("line-11", 820.0)),
    (("line-05", 1020.0), ("line-02", 1060.0), ("line-01", 900.0)),
    (("line-01", 980.0),),
    (),
)
OVERLOAD = (("line-05", 1120.0), ("line-02", 1080.0), ("line-05", 940.0))


@dataclass(frozen=True)
class Landing:
    """One load at the quay: which of its day, from which line, about how much."""

    day: date
    number: int
    source: str
    mass_kg: float

    @property
    def at_h(self) -> float:
        """Hour of the day it comes in."""
        return 7.1 + 1.5 * self.number


def landings(season: Season, day: date) -> Iterator[Landing]:
    """Loads of a day; once in the season far more comes than the belts can take."""
    rows = LANDINGS[day.weekday()]
    if season.days_ago(day) == OVERLOADED_DAYS_AGO:
        rows = (*rows, *OVERLOAD)
    elif season.days_ago(day) == OVERLOADED_DAYS_AGO - 1:
        rows = ()  # the boats stay in until the quay is clear
    for number, (source, mass_kg) in enumerate(rows):
        yield Landing(day, number, source, mass_kg)


def load(season: Season, landing: Landing) -> Doing:
    """A load from the quay to the end of a belt."""
    chance = season.chance(SITE, landing.day, landing.number)
    arrives = season.at(landing.day, landing.at_h + chance.minutes(-12.0, 12.0))
    harvest = yield from harvested(season, landing.source, arrives, landing.mass_kg)
    source = season.works.settings.source_of(landing.source)
    here = (season.days_ago(landing.day), landing.number)
    faults = season.faults
    leaf = kelp(chance, source.leaf, chance.around(landing.mass_kg, 0.05))
    slip = faults.weigh_error_share if here == faults.weigh_error else 0.0
    lot = season.receive(SITE, landing.source, leaf, chance, slip, harvest=harvest)
    blanches = source.leaf == "sugar_kelp_raw"
    belt, start = _belt_for(season, leaf.mass_kg, blanches)
    before_h = leaf.mass_kg / 1500.0 + (leaf.mass_kg / 900.0 + 0.3 if blanches else 0.0) + 0.4
    yield max(season.now + hours(chance.minutes(8.0, 20.0)), start - hours(before_h))
    kept_cool(season, lot, arrives)
    lot = yield from _wash(season, lot, chance)
    if blanches:
        soak_s = faults.high_iodine_s if here == faults.high_iodine else 180.0
        lot = yield from _blanch(season, lot, soak_s, chance)
    hurry = faults.under_dried_share if here == faults.under_dried else 1.0
    lot = yield from _dry(season, belt, lot, hurry, chance)
    season.agenda.start(kelp_bench(season, lot))
    season.agenda.start(_mill(season, lot))


def _belt_for(season: Season, mass_kg: float, blanches: bool) -> tuple[str, datetime]:
    """The belt that is free first, and when; tomorrow when it would run into the night."""
    before_h = mass_kg / 1500.0 + (mass_kg / 900.0 + 0.3 if blanches else 0.0) + 0.7
    long_h = mass_kg * 1.07 / FEED_KG_H + (5.3 if blanches else 3.0)
    belt = min(BELTS, key=lambda b: season.promised.get(b, season.now))
    start = max(season.now + hours(before_h), season.promised.get(belt, season.now))
    while start + hours(long_h) > season.at(start.date(), LATEST_OFF_H):
        start = season.at(start.date() + timedelta(days=1), FIRST_BELT_H)
    season.promised[belt] = start + hours(long_h + 0.7)
    return belt, start


def _wash(season: Season, lot: str, chance: Chance) -> Generator[datetime, None, str]:
    leaf = season.leaves[lot]
    yield from season.free("wash-1")
    run = season.put_on("wash-1", [lot])
    yield season.now + hours(leaf.mass_kg / 1500.0 + chance.minutes(0.0, 6.0))
    off = Off(0.0, 0.0, YARD.balance, YARD.scale, place="wash")
    return season.take_off("wash-1", run, [(leaf, off)], chance)[0]


def _blanch(
    season: Season, lot: str, soak_s: float, chance: Chance
) -> Generator[datetime, None, str]:
    yield season.now + hours(chance.minutes(3.0, 10.0))
    yield from season.free("bath-1")
    machine = season.works.settings.equipment_of("bath-1")
    settings = season.settings_of("bath-1", immersion_s=soak_s)
    run = season.put_on("bath-1", [lot], settings)
    leaf = outcomes.blanched(machine, season.leaves[lot], settings)
    yield season.now + hours(leaf.mass_kg / 900.0 + chance.minutes(0.0, 5.0))
    season.read(YARD.operator, "kelp-probe", 82.0, chance, run_id=run)
    off = Off(0.0, 0.0, YARD.balance, YARD.scale, place="drain")
    return season.take_off("bath-1", run, [(leaf, off)], chance)[0]


def _dry(
    season: Season, belt: str, lot: str, hurry: float, chance: Chance
) -> Generator[datetime, None, str]:
    yield season.now + hours(chance.minutes(5.0, 12.0))
    yield from season.free(belt)
    machine = season.works.settings.equipment_of(belt)
    leaf = season.leaves[lot]
    drying = Drying(season.works, machine, leaf, season.now, FEED_KG_H)
    first_h = season.belt_h.get(leaf.leaf, USUAL_BELT_H[leaf.leaf])
    belt_h = drying.set_by_hand(chance.around(STEER_AT_WB, 0.06), first_h, (1.2, 5.9))
    season.belt_h[leaf.leaf] = belt_h
    belt_h = round(60.0 * belt_h * hurry) / 60.0
    result = drying.run(belt_h)
    settings = season.settings_of(belt, residence_h=belt_h, feed_kg_h=FEED_KG_H)
    run = season.put_on(belt, [lot], settings)
    end = season.now + hours(result.duration_h)
    yield season.now + hours(belt_h + 0.3)
    while season.now < end - hours(0.3):
        seen = chance.normal(result.moisture_wb_out, 0.002)
        season.read(YARD.operator, YARD.quick, seen, chance, run_id=run)
        yield min(season.now + hours(1.4), end)
    yield end
    off = Off(0.0, 0.0, YARD.balance, YARD.fine_scale)
    dried = leaf.at_moisture(result.moisture_wb_out)
    return season.take_off(belt, run, [(dried, off)], chance)[0]


FLAKE, POWDER = "kelp-flake-500", "kelp-powder-250"
WAKAME = "wakame-cut-250"
TOO_MOIST_TO_MILL_WB = 0.118
POWDER_BELOW_WB = 0.102


def _mill(season: Season, lot: str) -> Doing:
    """Next day: part of the driest sugar kelp to powder, the rest to flake; moist leaf waits."""
    chance = season.chance("mill", lot)
    yield season.next_workday(1, 14.2 + chance.minutes(0.0, 40.0))
    booked = season.works.book.lot(lot)
    day = season.now.date()
    if booked.moisture_wb > TOO_MOIST_TO_MILL_WB or booked.held_because:
        return
    sugar = booked.leaf == "sugar_kelp_blanched"
    product = FLAKE if sugar else WAKAME
    here = sugar and season.days_ago(day) == season.faults.bad_split
    slips = here and "bad_split" not in season.done
    powder_day = booked.moisture_wb < POWDER_BELOW_WB and day.weekday() in (0, 2, 4)
    if sugar and (powder_day or slips):
        lost = season.faults.bad_split_share if slips else 0.0
        if slips:
            season.done.add("bad_split")
        flake, powder = season.split(YARD.operator, lot, (0.6, 0.4), YARD.fine_scale, chance, lost)
        first = yield from _grind(season, flake, 3000.0, "flake", FLAKE, chance)
        second = yield from _grind(season, powder, 300.0, "powder", POWDER, chance)
        season.goods[lot] = [first, second]
    else:
        made = yield from _grind(season, lot, 3000.0, "flake", product, chance)
        season.goods[lot] = [made]


def _grind(
    season: Season, lot: str, size_um: float, form: str, product: str, chance: Chance
) -> Generator[datetime, None, str]:
    yield from season.free("mill-1")
    machine = season.works.settings.equipment_of("mill-1")
    leaf, dust, long_h = outcomes.milled(machine, season.leaves[lot], size_um)
    run = season.put_on("mill-1", [lot], season.settings_of("mill-1", product_um=size_um))
    yield season.now + hours(long_h + 0.05)
    off = Off(0.0, 0.0, YARD.balance, YARD.fine_scale, form=form, attributes={"product": product})
    dust_g = round(1000.0 * dust.mass_kg)
    streams = [Stream("dust", dust_g, round(1000.0 * dust.dry_kg))] if dust_g else []
    return season.take_off("mill-1", run, [(leaf, off)], chance, streams)[0]
