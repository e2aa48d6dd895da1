"""Days at the demo's tea works: from the field to graded leaf."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from wareleaf.stages.oxidise import OxidiseResult
from wareleaf.stages.wither import WitherResult
from wareleaf.works.demo import outcomes
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.growing_days import harvested
from wareleaf.works.demo.lab_days import LAB, tea_bench
from wareleaf.works.demo.outcomes import Drying
from wareleaf.works.demo.season import YARDS, Season
from wareleaf.works.demo.truth import Chance, TrueLeaf, tea
from wareleaf.works.run_stage import Off
from wareleaf.works.settings import Equipment

SITE = "tea"
YARD = YARDS[SITE]
TROUGHS = ("trough-1", "trough-2", "trough-3")
BED = "bed-1"
FEED_KG_H = 320.0
HEATINGS_K = (0.0, 1.0, 2.0, 3.0, 4.5, 6.0, 8.0, 10.0)
# How fast the demo's floor oxidises against the model, its theaflavin against the published, and
# the minutes at which the bench takes a sample. Invented.
OXIDISES, YIELDS = 0.9, 0.95
SAMPLED_MIN = (45.0, 120.0)
FIRST_OFF_H = 4.2
LAST_OFF_H = 22.0
USUAL_BED_H = 0.55
STEER_AT_WB = {"tea_black": 0.031, "tea_green": 0.040}
WITHER_TO_WB = {"tea_black": 0.68, "tea_green": 0.72}
PRODUCT = {"tea_black": "black-leaf-1000", "tea_green": "green-leaf-250"}


@dataclass(frozen=True)
class Plucking:
    """One load at the leaf bay: field, usual mass, hour it comes and hour it should be withered.

    ``ready_h`` counts on from midnight of its day: 29 is five o'clock next morning.
    """

    source: str
    mass_kg: float
    at_h: float
    ready_h: float


BLACK_1 = Plucking("field-a", 1080.0, 14.4, 28.8)
BLACK_2 = Plucking("field-b", 1020.0, 16.1, 31.2)
BLACK_3 = Plucking("field-a", 960.0, 17.6, 36.3)
GREEN = Plucking("field-c", 640.0, 9.6, 18.5)
PLUCKINGS: tuple[tuple[Plucking, ...], ...] = (
    (BLACK_1, BLACK_2, BLACK_3),
    (GREEN, BLACK_1, BLACK_2),
    (BLACK_1, BLACK_2, BLACK_3),
    (BLACK_1, BLACK_2, BLACK_3),
    (GREEN, BLACK_1, BLACK_2),
    (GREEN, BLACK_1),
    (),
)
SIFTING_DAYS = (0, 2, 4)


def pluckings(day: date) -> Iterator[tuple[int, Plucking]]:
    """Loads of a day, numbered."""
    yield from enumerate(PLUCKINGS[day.weekday()])


def load(season: Season, day: date, number: int, plucking: Plucking) -> Doing:
    """A load from the leaf bay to the end of the dryer."""
    chance = season.chance(SITE, day, number)
    arrives = season.at(day, plucking.at_h + chance.minutes(-10.0, 10.0))
    harvest = yield from harvested(season, plucking.source, arrives, plucking.mass_kg)
    source = season.works.settings.source_of(plucking.source)
    leaf = tea(chance, source.leaf, chance.around(plucking.mass_kg, 0.05))
    lot = season.receive(SITE, plucking.source, leaf, chance, harvest=harvest)
    lot = yield from _wither(season, lot, season.at(day, plucking.ready_h), chance)
    lot = yield from _roll(season, lot, chance)
    if source.leaf == "tea_black":
        lot = yield from _oxidise(season, lot, chance)
    lot = yield from _dry(season, lot, chance)
    if source.leaf == "tea_green":
        season.agenda.start(_sift_green(season, lot))


def _wither(
    season: Season, lot: str, ready: datetime, chance: Chance
) -> Generator[datetime, None, str]:
    """Spread on the first free trough, heated so that it is ready in its turn."""
    yield season.now + hours(chance.minutes(10.0, 25.0))
    while not (open_troughs := [t for t in TROUGHS if t not in season.busy]):
        yield season.now + timedelta(minutes=10)
    trough = open_troughs[0]
    season.busy.add(trough)
    machine = season.works.settings.equipment_of(trough)
    leaf = season.leaves[lot]
    target = WITHER_TO_WB[leaf.leaf]
    heating_k, course = _heat_for(season, machine, leaf, target, ready)
    settings = season.settings_of(trough, target_moisture_wb=target, heating_k=heating_k)
    run = season.put_on(trough, [lot], settings)
    start = season.now
    there = start + hours(outcomes.wither_hours(course, target, leaf.pace))
    off_at = _when_someone_is_in(season, there)
    for at in _rounds(season, start, off_at):
        yield at + hours(chance.minutes(0.0, 9.0))
        spent_h = (season.now - start).total_seconds() / 3600.0
        true = outcomes.wither_moisture(course, leaf, spent_h)
        season.read(YARD.operator, YARD.quick, true, chance, run_id=run)
    yield max(off_at, season.now + hours(chance.minutes(2.0, 5.0)))
    spent_h = (season.now - start).total_seconds() / 3600.0
    leaf = leaf.at_moisture(outcomes.wither_moisture(course, leaf, spent_h))
    off = Off(0.0, 0.0, YARD.balance, YARD.scale, place="trough end")
    return season.take_off(trough, run, [(leaf, off)], chance)[0]


def _heat_for(
    season: Season, machine: Equipment, leaf: TrueLeaf, target_wb: float, ready: datetime
) -> tuple[float, WitherResult]:
    """The least heating that has the load ready in time, else the most."""
    low, high = 0, len(HEATINGS_K) - 1
    courses: dict[int, WitherResult] = {}
    while True:
        middle = (low + high) // 2
        if middle not in courses:
            courses[middle] = outcomes.withering(
                season.works, machine, leaf, season.now, HEATINGS_K[middle]
            )
        if low == high:
            return HEATINGS_K[middle], courses[middle]
        if season.now + hours(outcomes.wither_hours(courses[middle], target_wb)) <= ready:
            high = middle
        else:
            low = middle + 1


def _when_someone_is_in(season: Season, at: datetime) -> datetime:
    """Leaf that is ready at night comes off when the first shift is in."""
    first = season.at(at.date(), FIRST_OFF_H)
    if at < first:
        return first
    if at > season.at(at.date(), LAST_OFF_H):
        return season.at(at.date() + timedelta(days=1), FIRST_OFF_H)
    return at


def _rounds(season: Season, start: datetime, end: datetime) -> Iterator[datetime]:
    """Times at which an operator walks past with the meter."""
    day = start.date()
    while True:
        for hour in (4.3, 6.0, 8.0, 10.0, 12.5, 15.5, 18.5, 21.5):
            at = season.at(day, hour)
            if at >= end - timedelta(minutes=25):
                return
            if at > start + timedelta(hours=1.2):
                yield at
        day += timedelta(days=1)


def _roll(season: Season, lot: str, chance: Chance) -> Generator[datetime, None, str]:
    yield season.now + hours(chance.minutes(4.0, 9.0))
    yield from season.free("roller-1")
    machine = season.works.settings.equipment_of("roller-1")
    minutes = 40.0 if season.leaves[lot].leaf == "tea_black" else 25.0
    leaf, long_h = outcomes.rolled(machine, season.leaves[lot], minutes)
    run = season.put_on("roller-1", [lot], season.settings_of("roller-1", minutes=minutes))
    yield season.now + hours(long_h)
    off = Off(0.0, 0.0, YARD.balance, YARD.scale, place="roll room")
    return season.take_off("roller-1", run, [(leaf, off)], chance)[0]


def _oxidise(season: Season, lot: str, chance: Chance) -> Generator[datetime, None, str]:
    yield season.now + hours(chance.minutes(3.0, 6.0))
    yield from season.free("floor-1")
    machine = season.works.settings.equipment_of("floor-1")
    minutes = round(chance.normal(130.0, 4.0))
    bench = season.chance("theaflavin", lot)
    rate, yields = bench.around(OXIDISES, 0.08), bench.around(YIELDS, 0.06)
    leaf, course = outcomes.oxidised(machine, season.leaves[lot], minutes, rate, yields)
    run = season.put_on("floor-1", [lot], season.settings_of("floor-1", minutes=minutes))
    for at in SAMPLED_MIN:
        taken = season.now + hours((at + bench.normal(0.0, 2.0)) / 60.0)
        season.agenda.start(_theaflavin(season, run, course, taken, bench))
    yield season.now + hours(minutes / 120.0)
    season.read(YARD.operator, "tea-probe", chance.normal(26.5, 0.6), chance, run_id=run)
    yield season.now + hours(minutes / 120.0)
    off = Off(0.0, 0.0, YARD.balance, YARD.scale, place="floor")
    return season.take_off("floor-1", run, [(leaf, off)], chance)[0]


def _theaflavin(
    season: Season, run: str, course: OxidiseResult, taken: datetime, chance: Chance
) -> Doing:
    """A sample off the floor, read at the bench and typed in with the minute it was taken."""
    start = season.now
    yield taken + hours(chance.minutes(24.0, 30.0))
    minutes = (taken - start).total_seconds() / 60.0
    true = outcomes.theaflavin_at(course, minutes)
    season.read(LAB, "tea-infusion", true, chance, run_id=run, at=taken)


def _dry(season: Season, lot: str, chance: Chance) -> Generator[datetime, None, str]:
    yield season.now + hours(chance.minutes(2.0, 5.0))
    yield from season.free(BED)
    machine = season.works.settings.equipment_of(BED)
    leaf = season.leaves[lot]
    drying = Drying(season.works, machine, leaf, season.now, FEED_KG_H)
    first_h = season.belt_h.get(leaf.leaf, USUAL_BED_H)
    target = chance.around(STEER_AT_WB[leaf.leaf], 0.08)
    bed_h = drying.set_by_hand(target, first_h, (0.25, 0.95))
    season.belt_h[leaf.leaf] = bed_h
    result = drying.run(bed_h)
    settings = season.settings_of(BED, residence_h=bed_h, feed_kg_h=FEED_KG_H)
    run = season.put_on(BED, [lot], settings)
    end = season.now + hours(result.duration_h)
    yield season.now + hours(bed_h + 0.2)
    while season.now < end - hours(0.2):
        seen = chance.normal(result.moisture_wb_out, 0.001)
        season.read(YARD.operator, YARD.quick, seen, chance, run_id=run)
        yield min(season.now + hours(0.75), end)
    yield end
    off = Off(0.0, 0.0, YARD.balance, YARD.fine_scale)
    dried = leaf.at_moisture(result.moisture_wb_out)
    made = season.take_off(BED, run, [(dried, off)], chance)[0]
    season.goods.setdefault("dried black" if leaf.leaf == "tea_black" else "", []).append(made)
    return made


def sifting(season: Season, day: date) -> Doing:
    """Three mornings a week: all dried black leaf in store becomes one batch and is graded."""
    chance = season.chance("sifting", day)
    yield season.at(day, 8.9 + chance.minutes(0.0, 20.0))
    lots = season.goods.pop("dried black", [])
    if len(lots) < 2:
        season.goods["dried black"] = lots
        return
    batch = season.combine(YARD.operator, lots)
    yield season.now + hours(chance.minutes(5.0, 12.0))
    season.agenda.start(tea_bench(season, batch, season.chance("bench", batch)))
    yield season.now + hours(chance.minutes(3.0, 8.0))
    yield from _sift(season, batch, chance)


def _sift_green(season: Season, lot: str) -> Doing:
    chance = season.chance("sift green", lot)
    yield season.next_workday(1, 13.4 + chance.minutes(0.0, 30.0))
    season.agenda.start(tea_bench(season, lot, season.chance("bench", lot)))
    yield season.now + hours(chance.minutes(10.0, 15.0))
    yield from _sift(season, lot, chance)


def _sift(season: Season, batch: str, chance: Chance) -> Doing:
    yield from season.free("sifter-1")
    machine = season.works.settings.equipment_of("sifter-1")
    leaf = season.leaves[batch]
    grades = outcomes.sifted(machine, leaf, chance)
    run = season.put_on("sifter-1", [batch])
    yield season.now + hours(leaf.mass_kg / 400.0 + chance.minutes(2.0, 8.0))
    parts = []
    for grade, part in grades:
        attributes = {"grade": grade}
        if grade in ("OP", "BOP", "BOPF"):
            attributes["product"] = PRODUCT[leaf.leaf]
        off = Off(0.0, 0.0, YARD.balance, YARD.fine_scale, label=grade, attributes=attributes)
        parts.append((part, off))
    season.goods[batch] = season.take_off("sifter-1", run, parts, chance)
