"""Release: may a lot go, market by market, what stands in the way, and the signature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.release import Assessment, Limit, Line
from wareleaf.release.checks import limit_words
from wareleaf.web import session
from wareleaf.web.as_json import wants_json
from wareleaf.web.forms import Entered, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.works import handle_lot
from wareleaf.works.people import MAY
from wareleaf.works.properties import risks
from wareleaf.works.release_lot import assess_all, confirm_limit, release

router = APIRouter()


@dataclass(frozen=True)
class LimitRow:
    """One limit with where the lot stands against it in each market, in the markets' order."""

    limit: Limit
    words: str
    lines: tuple[Line | None, ...]

    @property
    def line(self) -> Line:
        """Any of the lines; value and probability are the same in all."""
        return next(line for line in self.lines if line is not None)

    @property
    def weight(self) -> int:
        """Place in the table: what stands in the way, then what binds, then guide values."""
        if not self.line.allows_release:
            return 0
        return 1 if self.limit.legal or self.limit.contract else 2


def rows_of(verdicts: Sequence[Assessment]) -> list[LimitRow]:
    """Every limit once, with its line in each market."""
    limits = {line.limit.id: line.limit for v in verdicts for line in v.lines}
    by_market = [{line.limit.id: line for line in v.lines} for v in verdicts]
    rows = [
        LimitRow(limit, limit_words(limit), tuple(lines.get(i) for lines in by_market))
        for i, limit in limits.items()
    ]
    return sorted(rows, key=lambda r: r.weight)


@router.get("/release", include_in_schema=False)
def search(request: Request) -> Response:
    return RedirectResponse("/bench", status_code=303)


@router.get("/release/{lot_id}", include_in_schema=False)
def page(request: Request, lot_id: str) -> Response:
    return _page(request, lot_id)


def _page(
    request: Request,
    lot_id: str,
    form: Entered | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
    opened: str = "",
) -> Response:
    works = session.works_of(request)
    lot = works.book.lot(lot_id)
    session.look_at(request, lot.site)
    verdicts = assess_all(works, lot_id)
    if wants_json(request) and not problems:
        return show(request, "release.html", data={"lot": lot, "markets": verdicts})
    rows = rows_of(verdicts)
    customers: dict[str, list[str]] = {}
    for customer in works.settings.customer:
        customers.setdefault(customer.market, []).append(customer.name)
    signs = [p.name for p in works.settings.person if MAY["release a lot"].intersection(p.roles)]
    context: dict[str, Any] = {
        "lot": lot,
        "verdicts": verdicts,
        "rows": rows,
        "open_to": [v for v in verdicts if v.may_release],
        "customers": customers,
        "signs": signs,
        "unread": [r for r in rows if r.line.needs_confirmation],
        "opened": opened,
        "risks": risks(works, lot_id),
        "path": "/bench",
    }
    if form is not None:
        context["form"] = form
    return show(request, "release.html", context, problems=problems, status=status)


@router.post("/release/{lot_id}/{act}", include_in_schema=False)
def handle(request: Request, lot_id: str, act: str, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id

    def do() -> str:
        if act == "sign":
            markets = form.all("markets")
            papers = {name: form.get(name) for name in ("document", "certificate")}
            release(works, who, lot_id, markets, form.get("note"), **papers)
            session.say(request, f"{lot_id} is released for {', '.join(markets)}.")
        elif act == "hold":
            handle_lot.hold(works, who, lot_id, form.get("reason"))
            session.say(request, f"{lot_id} is on hold.")
        elif act == "confirm":
            confirm_limit(works, who, form.get("limit_id"), form.get("text"))
            session.say(request, f"Confirmed: {form.get('limit_id')}. It counts for every lot.")
        else:
            raise BadInput("act", act, f"Nothing called {act!r} can be done here.")
        return f"/release/{lot_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _page(request, lot_id, form, error.problems, refused_status(error), opened=act)
