"""Close the day: dry matter and mass in, out, lost and unexplained."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from wareleaf.book import DayBalance
from wareleaf.measure.errors import require
from wareleaf.works.house import Works


def day_bounds(works: Works, day: date) -> tuple[datetime, datetime]:
    """First and last moment of a calendar day on the works' own clock."""
    zone = works.settings.zone
    start = datetime.combine(day, time(), zone)
    return start, datetime.combine(day + timedelta(days=1), time(), zone)


def refuse_days_to_come(works: Works, first: date) -> None:
    """Refuse a stretch of the book whose first day has not come yet on the works' own clock.

    Raises
    ------
    BadInput
        With that day and today.
    """
    today = works.now().date()
    require(
        first <= today,
        "day",
        first.isoformat(),
        f"Day is {first}; that day has not come yet. Give {today}, which is today, or an "
        "earlier one.",
    )


def day_balance(works: Works, site_id: str, day: date | None = None) -> DayBalance:
    """The balance of a site over one day, no later than today; today when no day is said."""
    day = day or works.now().date()
    refuse_days_to_come(works, day)
    start, end = day_bounds(works, day)
    return works.book.balance(start, end, works.settings.site_of(site_id).id)


def stretch_balance(works: Works, site_id: str, first: date, last: date) -> DayBalance:
    """The balance of a site from one day, no later than today, to another, both included."""
    refuse_days_to_come(works, first)
    start, _ = day_bounds(works, first)
    _, end = day_bounds(works, last)
    return works.book.balance(start, end, works.settings.site_of(site_id).id)
