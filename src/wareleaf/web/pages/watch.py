"""Watch: what is wrong or may be, gravest first, and which checks found nothing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked
from wareleaf.web.kept import until_the_book_grows
from wareleaf.web.office_words import CHECKS
from wareleaf.web.view import show
from wareleaf.works.finding import Finding
from wareleaf.works.house import Works
from wareleaf.works.watch import findings

router = APIRouter()

DAYS = (("1", "today and yesterday"), ("7", "a week"), ("30", "30 days"), ("", "all"))


def found_at(request: Request, site_id: str) -> tuple[Finding, ...]:
    """All findings of a site on the book as it stands.

    The checks read the whole history, which takes seconds, so the app keeps what they found until
    the book grows.
    """
    works = session.works_of(request)
    return until_the_book_grows(
        request, ("watch", site_id), lambda: tuple(findings(works, site=site_id))
    )


@router.get("/watch", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    works, site = session.works_of(request), session.site(request)
    everything = found_at(request, site.id)
    days = form.maybe("days", "Days")
    form.check()
    since = works.now() - timedelta(days=days) if days else None
    shown = [f for f in everything if since is None or f.at >= since]
    loud = {f.kind for f in shown}
    context: dict[str, Any] = {
        "findings": [(f, *_subjects(works, f)) for f in shown],
        "older": len(everything) - len(shown),
        "quiet": [(name, what) for kind, (name, what) in CHECKS.items() if kind not in loud],
        "days": DAYS,
        "chosen": form.get("days"),
        "place_name": {
            **{m.id: m.name for m in works.settings.meter},
            **{m.id: m.name for m in works.settings.equipment},
        },
        "percent_meters": {m.id for m in works.settings.meter if m.in_percent},
    }
    data = {"findings": shown, "quiet": [kind for kind in CHECKS if kind not in loud]}
    return show(request, "watch.html", context, data=data)


def _subjects(works: Works, finding: Finding) -> tuple[list[str], list[Event]]:
    """Lots and events of a finding; an event that has no lot named brings its own lots."""
    lots = [lot.lot_id for lot in works.book.lots(ids=list(finding.subjects))]
    events = []
    for subject in finding.subjects:
        if subject in lots or finding.kind in ("meter", "seal"):
            continue
        try:
            event = works.book.event(subject).event
        except BadInput:
            continue
        events.append(event)
        if not lots:
            lots = [d.lot_id for d in event.inputs] + [m.lot_id for m in event.outputs]
    return list(dict.fromkeys(lots)), events
