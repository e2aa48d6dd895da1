"""Pictures: the moisture run, the trace and the line charts."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from web_works import Seeded

from wareleaf.web import charts
from wareleaf.web.moisture_run import BEYOND, LEFT, RIGHT, moisture_run
from wareleaf.web.trace_graph import MOST_IN_COLUMN, trace_graph
from wareleaf.works import handle_lot
from wareleaf.works.take_in import Load, take_in
from wareleaf.works.trace_lot import trace

SVG = "{http://www.w3.org/2000/svg}"


def drop_x(picture: str) -> float:
    """Where the drop stands."""
    found = re.search(r'<path d="M([\d.]+) [\d.]+c5 7', picture)
    assert found
    return float(found.group(1))


def test_the_drop_walks_from_fresh_to_target() -> None:
    places = [drop_x(moisture_run(0.9, m, m, m, 0.1)) for m in (0.9, 0.7, 0.4, 0.2, 0.1, 0.02)]
    assert places[0] == pytest.approx(LEFT, abs=0.1)
    assert places[4] == pytest.approx(RIGHT, abs=0.1)
    assert places == sorted(places)
    assert places[-1] <= LEFT + BEYOND * (RIGHT - LEFT) + 0.1, "it never leaves the picture"


def test_equal_ratios_of_water_to_dry_matter_are_equal_steps() -> None:
    # 9, 3 and 1 kg of water per kg of dry matter: 90, 75 and 50 % wet basis.
    a, b, c = (drop_x(moisture_run(0.9, m, m, m, 0.1)) for m in (0.9, 0.75, 0.5))
    assert b - a == pytest.approx(c - b, abs=0.2)


@pytest.mark.parametrize("numbers", [(0.1, 0.1, 0.1, 0.1, 0.2), (0.5, 0.5, 0.5, 0.5, 0.5)])
def test_where_there_is_no_way_to_go_nothing_is_drawn(numbers: tuple[float, ...]) -> None:
    assert moisture_run(*numbers) == ""


def test_pictures_are_whole_svg() -> None:
    ET.fromstring(moisture_run(0.77, 0.72, 0.70, 0.74, 0.68))  # raises when it is not


def test_a_wide_trace_shows_the_heaviest_and_says_how_many_more(seeded: Seeded) -> None:
    works = seeded.works
    lots = [
        take_in(works, "teo", Load("line-02", 200.0 + 10.0 * n, 40.0, "quay-scale"))[1].lot_id
        for n in range(9)
    ]
    made = handle_lot.combine(works, "teo", lots)
    view = trace(works, made.lot_id)
    picture = str(trace_graph(view))
    tree = ET.fromstring(picture)
    shown = [a.get("href") for a in tree.iter("a")] + [a.get("href") for a in tree.iter(f"{SVG}a")]
    assert f"/trace/{lots[-1]}" in shown, "the heaviest"
    assert f"/trace/{lots[0]}" not in shown, "the lightest is among the others"
    assert f"and {9 - (MOST_IN_COLUMN - 1)} more" in picture
    kilos = [float(k) for k in re.findall(r'text-anchor="middle"[^>]*>([\d.]+) kg<', picture)]
    assert len(kilos) == MOST_IN_COLUMN
    assert sum(kilos) == pytest.approx(made.dry_g / 1000.0, abs=0.5), "rounded to 0.1 kg each"


def test_labels_in_a_picture_are_only_text(seeded: Seeded) -> None:
    works = seeded.works
    lot = handle_lot.split(works, "teo", seeded.lots["flake"], [1.0], drawn_kg=1.0)[0]
    assert "<script" not in str(trace_graph(trace(works, lot.lot_id)))


def test_a_run_chart_shows_band_readings_and_target() -> None:
    start = datetime(2026, 5, 12, 6, 0, tzinfo=ZoneInfo("Atlantic/Azores"))
    hours = [0.0, 4.0, 8.0, 12.0]
    mid, low, high = [0.77, 0.73, 0.69, 0.66], [0.76, 0.71, 0.66, 0.61], [0.78, 0.75, 0.72, 0.71]
    whole = charts.run_chart(
        start,
        hours,
        mid,
        low,
        high,
        readings=[(start + timedelta(hours=4), 0.735, 0.005)],
        target_wb=0.68,
        now=start + timedelta(hours=5),
    )
    assert "target 68.0 %" in whole
    assert "06:00" in whole and "18:00" in whole, "the works' own clock, whatever the machine's"
    cut = charts.run_chart(start, hours, mid, low, high, until_h=8.0)
    assert "18:00" not in cut and "14:00" in cut
    assert charts.run_chart(start, hours, mid, (), ()) != whole


def test_the_same_chart_is_drawn_once() -> None:
    line = {"a": [(0.0, 1.0), (1.0, 2.0)]}
    first = charts.line_chart(line, x_title="h", y_title="kg", rules={"limit": 1.5})
    assert "limit" in first
    before = charts._drawn.cache_info().hits
    charts.line_chart(line, x_title="h", y_title="kg", rules={"limit": 1.5})
    assert charts._drawn.cache_info().hits == before + 1


def test_own_static_files_ask_for_nothing_outside() -> None:
    static = Path(charts.__file__).parent / "static"
    for file in static.iterdir():
        outside = re.findall(r"https?://(?!www\.w3\.org/)", file.read_text("utf-8"))
        assert outside == [], file.name
