"""Weather files as a works gets them: good ones read right, bad ones refused in one sentence."""

import csv
import io
from datetime import UTC, datetime, timedelta, timezone
from functools import cache

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.works.weather import shipped_station, weather_for, window

ALASKA = timezone(timedelta(hours=-9))
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@pytest.fixture(scope="module")
def coast():
    return weather_for(shipped_station("sand_point"))


def epw_text(leap=False, change=None):
    """Write an EPW year of our own after the format's description (EnergyPlus auxiliary programs).

    The dry bulb of each row is 0.01 times its number, so that a shifted hour shows.
    """
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(["LOCATION", "Holm Sound", "-", "-", "demo", "0", "58.5", "-3.25", "0.5", "12"])
    for title in ("DESIGN CONDITIONS", "TYPICAL/EXTREME PERIODS", "GROUND TEMPERATURES"):
        write.writerow([title, "0"])
    write.writerow(["HOLIDAYS/DAYLIGHT SAVINGS", "No", "0", "0", "0"])
    for title in ("COMMENTS 1", "COMMENTS 2"):
        write.writerow([title, ""])
    write.writerow(["DATA PERIODS", "1", "1", "Data", "Sunday", " 1/ 1", "12/31"])
    number = 0
    for month, days in enumerate(DAYS, start=1):
        for day in range(1, days + 1 + (leap and month == 2)):
            for hour in range(1, 25):
                row = [2004 if leap else 2003, month, day, hour, 0, "?"]
                feb29 = month == 2 and day == 29
                row += [60.0 if feb29 else 0.005 * number, 5.0, 80, 101000, 0, 0, 300, 120]
                row += [0] * 6 + [180, 4.5] + [0] * 13
                number += not feb29
                write.writerow(change(month, day, hour, row) if change else row)
    return out.getvalue()


# --- reading ----------------------------------------------------------------------------------


def test_the_kelp_coast_is_read_from_its_tmy3_file(coast):
    assert coast.station == "Sand Point"
    # header line of the file: 703165,"SAND POINT",AK,-9.0,55.317,-160.517,7
    assert (coast.latitude, coast.longitude, coast.altitude_m) == (55.317, -160.517, 7.0)
    assert coast.utc_offset_h == -9.0
    assert coast.time.size == coast.dry_bulb_c.size == 8760
    # first data rows: 01:00 and 02:00 on 1 January, 4.0 degC, 93 %, 1012 mbar, 2.1 and 0.0 m/s
    assert coast.dry_bulb_c[1:3] == pytest.approx([4.0, 4.0])
    assert coast.relative_humidity[1] == pytest.approx(0.93)
    assert coast.pressure_pa[1] == pytest.approx(101_200.0)
    assert coast.wind_m_s[1:3] == pytest.approx([2.1, 0.0])
    assert coast.filled_hours == 0


@pytest.mark.parametrize("name", ["sand_point", "greensboro"])
def test_every_row_of_the_file_stands_at_its_hour(name):
    # the file read again with the csv module alone; 24:00 on 31 December is hour 0 of the year
    path = shipped_station(name)
    with path.open(encoding="utf-8") as handle:
        next(handle)
        rows = list(csv.DictReader(handle))
    dry_bulb = np.array([float(row["Dry-bulb (C)"]) for row in rows])
    sun = np.array([float(row["GHI (W/m^2)"]) for row in rows])
    weather = weather_for(path)
    assert rows[0]["Time (HH:MM)"] == "01:00"
    assert weather.dry_bulb_c == pytest.approx(np.roll(dry_bulb, 1))
    assert weather.ghi_w_m2 == pytest.approx(np.roll(sun, 1))


def test_values_are_in_the_units_of_their_names(coast):
    assert -40.0 < coast.dry_bulb_c.min() < coast.dry_bulb_c.max() < 45.0
    assert 0.0 < coast.relative_humidity.min() < coast.relative_humidity.max() <= 1.0
    assert 95e3 < coast.pressure_pa.min() <= coast.pressure_pa.max() < 106e3
    noon = coast.ghi_w_m2.reshape(365, 24)[:, 12].mean()
    midnight = coast.ghi_w_m2.reshape(365, 24)[:, 0].mean()
    assert noon > 100.0 > midnight


@pytest.mark.parametrize("leap", [False, True])
def test_an_epw_year_stands_at_its_hours_with_or_without_29_february(tmp_path, leap):
    path = tmp_path / "holm.epw"
    path.write_text(epw_text(leap), "utf-8")
    weather = weather_for(path)
    assert weather.station == "Holm Sound"
    assert (weather.utc_offset_h, weather.altitude_m) == (0.5, 12.0)
    assert weather.dry_bulb_c == pytest.approx(np.roll(0.005 * np.arange(8760), 1))
    assert weather.relative_humidity == pytest.approx(0.8)
    assert weather.pressure_pa == pytest.approx(101_000.0)
    assert weather.wind_m_s == pytest.approx(4.5)
    assert weather.ghi_w_m2 == pytest.approx(120.0)


def test_windows_line_ends_and_a_byte_order_mark_do_not_matter(tmp_path):
    path = tmp_path / "holm.epw"
    path.write_bytes(b"\xef\xbb\xbf" + epw_text().replace("\n", "\r\n").encode())
    assert weather_for(path).dry_bulb_c[1] == 0.0


def test_a_file_that_changed_is_read_again(tmp_path):
    path = tmp_path / "holm.epw"
    path.write_text(epw_text(), "utf-8")
    assert weather_for(path).wind_m_s[5] == pytest.approx(4.5)
    path.write_text(epw_text().replace(",180,4.5,", ",180,12.25,"), "utf-8")
    assert weather_for(path).wind_m_s[5] == pytest.approx(12.25)


def test_the_years_of_the_cache_cannot_be_written_to(coast):
    with pytest.raises(ValueError, match="read-only"):
        coast.dry_bulb_c[0] = 99.0


# --- gaps -------------------------------------------------------------------------------------


def blank(month, day, hours, column, mark):
    def change(m, d, h, row):
        if (m, d) == (month, day) and h in hours:
            row[column] = mark
        return row

    return change


def test_a_short_gap_is_filled_by_a_straight_line(tmp_path):
    path = tmp_path / "gap.epw"
    path.write_text(epw_text(change=blank(5, 3, range(4, 10), 6, 99.9)), "utf-8")
    weather = weather_for(path)
    assert weather.filled_hours == 6
    assert weather.dry_bulb_c[1:] == pytest.approx(0.005 * np.arange(8759))


@pytest.mark.parametrize(
    ("column", "mark", "field"),
    [
        (6, 99.9, "dry_bulb_c"),
        (8, 999, "relative_humidity"),
        (9, 999999, "pressure_pa"),
        (13, 9999, "ghi_w_m2"),
        (21, "", "wind_m_s"),
        (21, "calm", "wind_m_s"),
    ],
)
def test_a_long_gap_is_refused_with_its_place(tmp_path, column, mark, field):
    path = tmp_path / "gap.epw"
    path.write_text(epw_text(change=blank(5, 3, range(4, 11), column, mark)), "utf-8")
    with pytest.raises(BadInput, match=rf"lacks {field} for 7 hours from 03 May 04:00"):
        weather_for(path)


def test_a_gap_across_new_year_is_one_gap(tmp_path):
    def change(month, day, hour, row):
        last_night = (month, day) == (12, 31) and hour > 20
        first_morning = (month, day) == (1, 1) and hour < 4
        if last_night or first_morning:
            row[8] = 999
        return row

    path = tmp_path / "gap.epw"
    path.write_text(epw_text(change=change), "utf-8")
    with pytest.raises(BadInput, match="for 7 hours from 31 Dec 21:00"):
        weather_for(path)


# --- refusals ---------------------------------------------------------------------------------


def cut(text, lines):
    return "\n".join(text.splitlines()[:lines]) + "\n"


def without_a_column(text):
    lines = text.splitlines()
    return "\n".join([lines[0], lines[1].replace("Dry-bulb (C)", "Heat"), *lines[2:]])


@cache
def bad_files():
    tmy3 = shipped_station("sand_point").read_text("utf-8")
    epw = epw_text()
    return {
        "empty": (b"", "is empty"),
        "blank": (b"\n \n", "is empty"),
        "latin": (epw.replace("Holm", "H\xf6lm").encode("latin-1"), "not text in UTF-8"),
        "utf16": (epw.encode("utf-16"), "not text"),
        "zeros": (b"LOCATION,\0\0\0\n", "not text"),
        "sheet": (b"lot,mass_kg\nK1,20\n", "neither EPW"),
        "header_only": (cut(epw, 8).encode(), r"no hours in it|cannot be read"),
        "half_year": (cut(epw, 4000).encode(), "lacks dry_bulb_c for 4768 hours"),
        "twice": ((epw + cut(epw[epw.index("\n2003,") + 1 :], 24)).encode(), "an hour twice"),
        "no_column": (without_a_column(tmy3).encode(), "lacks the column for dry_bulb_c"),
        "no_place": (
            epw.replace("58.5", "north").encode(),
            "starts like EPW but cannot be read",
        ),
        "short_head": (cut(tmy3, 1).replace("7\n", "7").encode(), "neither EPW"),
        "short_rows": (b"LOCATION,a\nb\n", "starts like EPW but cannot be read"),
        "bad_date": (tmy3.replace("01/01/1997", "1 Jan", 1).encode(), "cannot be read"),
    }


@pytest.mark.parametrize("name", sorted(bad_files()))
def test_a_bad_file_is_refused_in_one_sentence(tmp_path, name):
    content, says = bad_files()[name]
    path = tmp_path / f"{name}.txt"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=says) as caught:
        weather_for(path)
    problem = caught.value.problems[0]
    assert problem.field == "path"
    assert problem.message.count("\n") == 0


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(BadInput, match="There is no weather file"):
        weather_for(tmp_path / "none.epw")
    with pytest.raises(BadInput, match="not a file"):
        weather_for(tmp_path)


def test_a_huge_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "huge.epw"
    with path.open("wb") as handle:
        handle.truncate(200_000_000)
    with pytest.raises(BadInput, match="200 MB"):
        weather_for(path)


def test_an_unknown_shipped_station_names_the_known_ones():
    with pytest.raises(BadInput, match="sand_point, greensboro"):
        shipped_station("atlantis")


# --- windows ----------------------------------------------------------------------------------


def test_a_window_has_the_same_month_day_and_hour(coast):
    day = window(coast, datetime(2026, 5, 14, 6, tzinfo=ALASKA), 48)
    row = (31 + 28 + 31 + 30 + 13) * 24 + 6
    assert day.dry_bulb_c == pytest.approx(coast.dry_bulb_c[row : row + 48])
    assert day.time[0] == np.datetime64("2026-05-14T06:00:00")
    assert day.time[-1] == np.datetime64("2026-05-16T05:00:00")
    assert day.station == coast.station


def test_a_time_zone_is_turned_into_the_stations_standard_time(coast):
    there = window(coast, datetime(2026, 5, 14, 6), 5)
    from_utc = window(coast, datetime(2026, 5, 14, 15, tzinfo=UTC), 5)
    assert from_utc.time[0] == there.time[0]
    assert from_utc.dry_bulb_c == pytest.approx(there.dry_bulb_c)


def test_between_hours_values_are_interpolated(coast):
    half = window(coast, datetime(2026, 7, 1, 12, 30), 3)
    full = window(coast, datetime(2026, 7, 1, 12), 4)
    expected = 0.5 * (full.dry_bulb_c[:-1] + full.dry_bulb_c[1:])
    assert half.dry_bulb_c == pytest.approx(expected)


def test_29_february_shows_the_28th_again(coast):
    days = window(coast, datetime(2028, 2, 28), 72)
    assert days.time[24] == np.datetime64("2028-02-29T00:00:00")
    assert days.dry_bulb_c[24:48] == pytest.approx(days.dry_bulb_c[:24])
    assert days.dry_bulb_c[48] == pytest.approx(coast.dry_bulb_c[59 * 24])


def test_a_window_runs_over_new_year(coast):
    turn = window(coast, datetime(2026, 12, 31, 22), 4)
    assert turn.dry_bulb_c == pytest.approx([*coast.dry_bulb_c[-2:], *coast.dry_bulb_c[:2]])


def test_windows_without_hours_or_from_windows_are_refused(coast):
    with pytest.raises(BadInput, match="from 1 to"):
        window(coast, datetime(2026, 5, 1), 0)
    short = window(coast, datetime(2026, 5, 1), 24)
    with pytest.raises(BadInput, match="year of 8760"):
        window(short, datetime(2026, 5, 1), 2)
