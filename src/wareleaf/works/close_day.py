"""Close the day: dry matter and mass in, out, lost and unexplained."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from wareleaf.book import DayBalance
from wareleaf.works.house import Works


def day_bounds(works: Works, day: date) -> tuple[datetime, datetime]:
    """First and last moment of a calendar day on the works' own clock."""
    zone = works.settings.zone
    start = datetime.combine(day, time(), zone)
    return start, datetime.combine(day + timedelta(days=1), time(), zone)


def day_balance(works: Works, site_id: str, day: date | None = None) -> DayBalance:
    """The balance of a site over one day; today when no day is said."""
    start, end = day_bounds(works, day or works.now().date())
    return works.book.balance(start, end, works.settings.site_of(site_id).id)


def stretch_balance(works: Works, site_id: str, first: date, last: date) -> DayBalance:
    """The balance of a site from one day to another, both included."""
    start, _ = day_bounds(works, first)
    _, end = day_bounds(works, last)
    return works.book.balance(start, end, works.settings.site_of(site_id).id)
