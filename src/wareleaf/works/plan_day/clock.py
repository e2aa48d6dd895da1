"""Hours of a plan and times on the wall: the plan counts from midnight of its first day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from wareleaf.plan.board import Crew, Window
from wareleaf.works.settings import Site, WorksSettings


@dataclass(frozen=True)
class DayClock:
    """Turns hours from ``t0`` into times and back; true hours, also when clocks change.

    Parameters
    ----------
    t0 : datetime
        Local midnight.
    zone : ZoneInfo
        Of the works.
    """

    t0: datetime
    zone: ZoneInfo

    @classmethod
    def of(cls, now: datetime, zone: ZoneInfo) -> DayClock:
        """The clock of the day of ``now``."""
        day = now.astimezone(zone).date()
        return cls(datetime.combine(day, time(), zone), zone)

    def hours(self, at: datetime) -> float:
        """Hours from the start of the plan."""
        return (at.astimezone(UTC) - self.t0.astimezone(UTC)).total_seconds() / 3600.0

    def at(self, hours: float) -> datetime:
        """The time of an hour of the plan, to the second."""
        moment = self.t0.astimezone(UTC) + timedelta(seconds=round(hours * 3600.0))
        return moment.astimezone(self.zone)

    def wall(self, day: int, hour: float) -> float:
        """Plan hour of a wall-clock hour on a day of the plan (0: the first); may pass 24."""
        extra, inside = divmod(hour, 24.0)
        date = self.t0.date() + timedelta(days=day + int(extra))
        minutes = min(round(inside * 60.0), 24 * 60 - 1)
        return self.hours(datetime.combine(date, time(minutes // 60, minutes % 60), self.zone))

    def say(self, hours: float) -> str:
        """An hour of the plan in words: ``14:20``, ``06:00 tomorrow``, ``06:00 on Thu 14 May``."""
        at = self.at(hours)
        days = (at.date() - self.t0.date()).days
        said = f"{at:%H:%M}"
        if days == 0:
            return said
        if days == 1:
            return f"{said} tomorrow"
        if days == -1:
            return f"{said} yesterday"
        return f"{said} on {at:%a} {at.day} {at:%b}"


def day_windows(clock: DayClock, site: Site, days: int) -> tuple[Window, ...]:
    """The site's day hours on each day of the plan."""
    return tuple(
        (clock.wall(day, site.day_starts_h), clock.wall(day, site.day_ends_h))
        for day in range(days)
    )


def crews(clock: DayClock, settings: WorksSettings, site_id: str, days: int) -> tuple[Crew, ...]:
    """Shifts on each day of the plan; one that began the evening before still counts."""
    return tuple(
        Crew(
            shift.skill,
            clock.wall(day, shift.from_h),
            clock.wall(day, shift.until_h),
            shift.people,
        )
        for day in range(-1, days)
        for shift in settings.crew
        if shift.site == site_id
        and shift.until_h > shift.from_h
        and clock.wall(day, shift.until_h) > 0.0
    )
