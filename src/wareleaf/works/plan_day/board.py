"""From the book and the settings to a `wareleaf.plan` day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from wareleaf.plan.board import Day, Machine
from wareleaf.works.house import Works
from wareleaf.works.machines import fed_all_the_time
from wareleaf.works.plan_day import worth
from wareleaf.works.plan_day.clock import DayClock, crews, day_windows
from wareleaf.works.plan_day.items import PLANNED, Item, gather
from wareleaf.works.plan_day.legs import BATCH, Leg, Pace
from wareleaf.works.plan_day.sized import Sized, size
from wareleaf.works.settings import Equipment

MOST_DAYS = 4
SLACK = 1.2  # machines are never filled to the last hour. Own choice.
MOST_PARTS = 6
LEAD_H = 1.5  # from the door through the first machines to the dryer. Own choice.
FULL_DAY = 0.95
SHORT_SHARE = (
    1.0 / 3.0
)  # of the hours a day leaves for feeding, when machines are short. Own choice.
# Wet leaf is a risk: being through an hour earlier is worth this much for each part. Own choice.
EARLY_PRICE_PER_H = 0.5
GROUPS: Mapping[str, str] = {
    "wash": "wash tank",
    "blanch": "blanch bath",
    "wither": "trough",
    "roll": "roller",
    "oxidise": "oxidation floor",
    "dry": "dryer",
}


@dataclass(frozen=True)
class Board:
    """A day ready to plan, with what its loads stand for.

    Parameters
    ----------
    clock : DayClock
        Of its hours.
    day : Day
        For the planner.
    items : mapping of str to Item
        By load id.
    warnings : tuple of str
        What is left out and what is doubtful.
    """

    clock: DayClock
    day: Day
    items: Mapping[str, Item]
    warnings: tuple[str, ...]


def build(works: Works, site_id: str, broken: frozenset[str] = frozenset()) -> Board:
    """Gather a site and put it on a board: midnight today to the end of tomorrow, or later.

    Leaf that is running on a ``broken`` machine is given the other machines of its stage too.
    """
    now = works.now()
    clock = DayClock.of(now, works.settings.zone)
    items, told = gather(works, site_id, clock, 24.0 * MOST_DAYS)
    sized = []
    for item in items:
        one = size(works, site_id, clock, item, told, broken)
        if one is not None:
            sized.append(one)
    sized = split_to_fit(works, site_id, clock, sized)
    days = _days(works, site_id, clock, sized)
    site = works.settings.site_of(site_id)
    day = Day(
        loads=tuple(s.load for s in sized),
        machines=machines(works, site_id, clock, days, [leg for s in sized for leg in s.legs]),
        crew=crews(clock, works.settings, site_id, days),
        horizon_h=clock.wall(days - 1, site.day_ends_h),
        now_h=clock.hours(now),
        frozen=tuple(f for s in sized for f in s.frozen),
        parts=tuple((s.load.id, s.parts) for s in sized if s.parts is not None),
        early_price_per_h=EARLY_PRICE_PER_H,
    )
    if not day.crew:
        told.append("The settings name no crew for this site; people do not limit this plan.")
    return Board(clock, day, {s.load.id: s.item for s in sized}, tuple(dict.fromkeys(told)))


def _days(works: Works, site_id: str, clock: DayClock, sized: Sequence[Sized]) -> int:
    """Days to plan: two, or as many as the last load and the fullest stage need.

    A shorter plan would turn leaf away that only its own end leaves no place for.
    """
    site = works.settings.site_of(site_id)
    now_h = clock.hours(works.now())
    last = max((s.load.ready_h + _work_h(s) for s in sized if s.item.kind != "running"), default=0)
    busy = SLACK * max((_busy_h(sized, stage) for stage in PLANNED), default=0.0)
    days = 2
    while days < MOST_DAYS:
        windows = day_windows(clock, site, days)
        open_h = sum(max(0.0, b - max(a, now_h)) for a, b in windows)
        if windows[-1][1] >= max(last + 12.0, now_h + 1.0) and open_h >= busy:
            break
        days += 1
    return days


def _work_h(sized: Sized) -> float:
    return sum(leg.paces[0].hours(leg.charge.mass_kg) for leg in sized.legs)


def _busy_h(sized: Sequence[Sized], stage: str) -> float:
    """Hours each machine of a stage is needed, shared evenly; 0 for those that run all night."""
    if stage == "wither":
        return 0.0
    hours, count = 0.0, 1
    for one in sized:
        for leg in one.legs:
            if leg.stage == stage:
                hours += leg.paces[0].kept_h(leg.charge.mass_kg)
                count = max(count, len(leg.paces))
    return hours / count


def machines(
    works: Works, site_id: str, clock: DayClock, days: int, legs: Sequence[Leg]
) -> tuple[Machine, ...]:
    """Machines for wet leaf; troughs run through the night, the rest in the site's day hours."""
    site = works.settings.site_of(site_id)
    windows = day_windows(clock, site, days)
    paces: dict[str, Pace] = {}
    for leg in legs:
        for pace in leg.paces:
            known = paces.get(pace.machine.id)
            if known is None or pace.fuel_kg_h > known.fuel_kg_h:
                paces[pace.machine.id] = pace
    return tuple(
        _machine(works, m, windows, paces.get(m.id))
        for m in works.settings.equipment
        if m.site == site_id and m.stage in PLANNED
    )


def _machine(
    works: Works, m: Equipment, windows: tuple[tuple[float, float], ...], pace: Pace | None
) -> Machine:
    shared = m.stage == "oxidise" and m.capacity_kg is not None
    return Machine(
        id=m.id,
        stage=GROUPS[m.stage],
        capacity_kg=m.capacity_kg,
        rate_kg_h=None if m.stage in BATCH else m.rate_kg_h,
        windows=None if m.stage == "wither" else windows,
        shared=shared,
        follows=fed_all_the_time(m),
        warm_up_h=m.warm_up_h,
        warm_up_price=0.0 if pace is None else worth.warm_up_price(pace, works.settings.costs),
        fire_price_per_h=0.0
        if pace is None
        else worth.idle_price_per_h(pace, works.settings.costs),
        clean_h=0.0 if shared else m.clean_h,
    )


def split_to_fit(
    works: Works, site_id: str, clock: DayClock, sized: Sequence[Sized]
) -> list[Sized]:
    """Split loads that only go through machines fed all the time, as little as the day allows.

    A part must come through between the hour its leaf can be there and the end of the day. When the
    machines are short, parts are small enough that several fill a dryer's day one after another.
    """
    site = works.settings.site_of(site_id)
    whole_h = site.day_ends_h - site.day_starts_h
    now_h = clock.hours(works.now())
    left_h = max(0.0, clock.wall(0, site.day_ends_h) - max(now_h, clock.wall(0, site.day_starts_h)))
    short = max(_busy_h(sized, stage) for stage in PLANNED) > left_h + whole_h
    done = []
    for one in sized:
        if one.parts is not None or any(p.rate_kg_h is None for g in one.legs for p in g.paces):
            done.append(one)
            continue
        end_h = clock.wall(int(max(now_h, one.load.ready_h) // 24), site.day_ends_h)
        day_h = end_h - max(now_h, one.load.ready_h) - LEAD_H
        parts = _short_parts(one.legs, whole_h) if short else _parts(one.legs, whole_h, day_h)
        done.append(replace(one, parts=parts))
    return done


def _parts(legs: Sequence[Leg], whole_h: float, day_h: float) -> int:
    """Fewest parts whose longest stage fits the hours, or a whole day when the hours are few."""
    for hours in (day_h, FULL_DAY * whole_h):
        for count in range(1, MOST_PARTS + 1):
            if all(_least_h(leg, count) <= hours for leg in legs):
                return count
    return MOST_PARTS


def _short_parts(legs: Sequence[Leg], whole_h: float) -> int:
    """Fewest parts that leave a machine's day open to others of their kind."""
    for count in range(1, MOST_PARTS + 1):
        if all(
            _least_h(leg, count) <= FULL_DAY * whole_h
            and any(
                p.kept_h(leg.charge.mass_kg / count) <= SHORT_SHARE * (whole_h - p.inside_h)
                for p in leg.paces
            )
            for leg in legs
        ):
            return count
    return MOST_PARTS


def _least_h(leg: Leg, count: int) -> float:
    """Hours a part takes on the quickest machine."""
    return min(p.hours(leg.charge.mass_kg / count) for p in leg.paces)
