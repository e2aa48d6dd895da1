"""Dry matter that is missing, and a history that does not hang together."""

from __future__ import annotations

from datetime import datetime

from scipy.stats import norm

from wareleaf.book import SHAPES
from wareleaf.works.finding import FALSE_ALARM, Finding
from wareleaf.works.house import Works


def balance(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Events whose dry matter does not add up, beyond what so many events show by chance."""
    moving = [k for k, shape in SHAPES.items() if shape.inputs[1] and shape.outputs[1]]
    count = len(works.book.events_in_force(kind=moving, until=until, site=site))
    limit_z = float(norm.isf(FALSE_ALARM / (2.0 * max(count, 1))))
    return [
        Finding(
            kind="balance",
            severity="stop",
            at=each.happened_at,
            site=each.site,
            where=each.place,
            subjects=(each.event_id,),
            sentence=each.sentence,
            numbers={"dry_g": each.dry_g, "dry_sd_g": each.dry_sd_g, "z": each.z},
        )
        for each in works.book.unbalanced(end=until, site=site or "")
        if abs(each.z) > limit_z
    ]


def seal(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """A book whose history does not hang together."""
    report = works.book.verify()
    if report.ok:
        return []
    return [
        Finding(
            kind="seal",
            severity="stop",
            at=until,
            site=site or "",
            where="book",
            subjects=(str(report.first_bad_sequence),),
            sentence=f"The book has been changed from outside: {report.message}",
        )
    ]
