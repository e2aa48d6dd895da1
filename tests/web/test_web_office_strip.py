"""The strip of the plan: every run is drawn once a day it touches, and no bar covers another."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from wareleaf.web.plan_strip import Bar, Row, letters, strips
from wareleaf.works.plan_day import (
    DayLimits,
    DayPlan,
    OutOfOrder,
    PlannedLighting,
    PlannedLoad,
    PlannedRun,
)
from wareleaf.works.settings import Equipment

ZONE = ZoneInfo("Atlantic/Azores")
MIDNIGHT = datetime(2026, 5, 12, tzinfo=ZONE)


def at(hours: float) -> datetime:
    return MIDNIGHT + timedelta(hours=hours)


def load(name: str) -> PlannedLoad:
    day = at(6.0)
    return PlannedLoad(
        name, "waiting", (name,), "sugar_kelp_raw", "p", 500.0, day, day, day, 2.0, 1
    )


def run(name: str, machine: str, start: float, end: float) -> PlannedRun:
    times = at(start), at(end)
    return PlannedRun(name, (name,), 0, 1, 0, "dry", machine, machine, *times, 500.0, False)


def plan_of(*runs: PlannedRun) -> DayPlan:
    return DayPlan(
        site_id="kelp",
        made_by="ilsa",
        made_at=at(7.0),
        t0=MIDNIGHT,
        until_at=at(46.0),
        currency="EUR",
        loads=tuple(load(n) for n in dict.fromkeys(r.load_id for r in runs)),
        runs=runs,
        decisions=(),
        lightings=(),
        moves=(),
        cost=0.0,
        cost_items={},
        bound=None,
        gap=None,
        proved=False,
        standing="",
        method="",
        grid_min=5,
        limits=DayLimits("", "", ()),
        room=(),
        outages=(),
        warnings=(),
        rules=(),
    )


MACHINES = [
    Equipment(id=i, site="kelp", name=n, stage="dry", kind="belt_dryer")
    for i, n in (("belt-1", "Belt <1> & co"), ("belt-2", "Belt 2"), ("belt-3", "Belt 3"))
]


def bars(svg: str) -> list[tuple[float, float]]:
    """Left and right edge of each run's bar."""
    found = re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"[^>]* rx="3"', svg)
    return [(float(x), float(x) + float(w)) for x, w in found]


def test_each_day_has_its_own_strip_and_only_machines_that_work_a_row() -> None:
    plan = plan_of(run("K1", "belt-1", 8.0, 10.0), run("K2", "belt-2", 29.0, 33.0))
    drawn = strips(plan, MACHINES, at(7.0))
    assert [day.day for day, _ in drawn] == [12, 13]
    assert "Belt &lt;1&gt; &amp; co" in drawn[0][1] and "Belt 2" not in drawn[0][1]
    assert "Belt 2" in drawn[1][1] and "Belt 3" not in drawn[0][1] + drawn[1][1]


def test_a_night_run_is_cut_at_midnight_and_goes_on_the_next_day() -> None:
    drawn = strips(plan_of(run("K1", "belt-1", 20.0, 30.0)), MACHINES, at(19.0))
    assert [len(bars(str(svg))) for _, svg in drawn] == [1, 1]


def test_lengths_on_the_strip_are_in_proportion_to_hours() -> None:
    plan = plan_of(run("K1", "belt-1", 8.0, 10.0), run("K2", "belt-1", 11.0, 12.0))
    (left, right), (next_left, next_right) = bars(str(strips(plan, MACHINES, at(8.0))[0][1]))
    assert (right - left) == pytest.approx(2.0 * (next_right - next_left), abs=0.2)
    assert next_left - right == pytest.approx(next_right - next_left, abs=0.2)


def test_runs_at_the_same_time_share_a_row_in_lanes() -> None:
    row = Row("floor")
    for start, end in ((1.0, 4.0), (2.0, 3.0), (3.0, 5.0), (4.0, 6.0), (2.5, 4.5)):
        row.put(Bar(at(start), at(end), "run"))
    assert sum(len(lane) for lane in row.lanes) == 5
    for lane in row.lanes:
        ordered = sorted(lane, key=lambda b: b.start)
        assert all(a.end <= b.start for a, b in pairwise(ordered))


def test_heat_and_outage_stand_in_words() -> None:
    lighting = PlannedLighting("belt-1", "Belt 1", at(7.0), at(8.0), at(10.0), True)
    out = OutOfOrder("belt-2", "Belt 2", at(8.0), at(11.0))
    plan = replace(plan_of(run("K1", "belt-1", 8.0, 10.0)), lightings=(lighting,), outages=(out,))
    svg = str(strips(plan, MACHINES, at(7.0))[0][1])
    assert ">heat up<" in svg and ">out of order<" in svg and ">now<" in svg


def test_every_load_has_a_letter_of_its_own() -> None:
    plan = plan_of(*(run(f"K{n}", "belt-1", 8.0, 9.0) for n in range(60)))
    named = letters(plan)
    assert named["K0"] == "A" and named["K25"] == "Z" and named["K26"] == "A1"
    assert len(set(named.values())) == 60


def test_a_plan_with_nothing_left_draws_nothing() -> None:
    assert strips(plan_of(run("K1", "belt-1", 1.0, 2.0)), MACHINES, at(30.0)) == []
