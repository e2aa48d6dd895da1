"""Recall: what a fault reached, where it is, who received it; hold it all, or keep the drill."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.reports.recall_tables import CAUTIONS, KIND_WORDS, NAMES, balance_of, time_taken
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.view import refused_status, show
from wareleaf.works.destroy import destroy_held, to_destroy
from wareleaf.works.find_lots import find_lots
from wareleaf.works.house import Works
from wareleaf.works.people import MAY
from wareleaf.works.recall import Affected, Recall, recall
from wareleaf.works.recall_drill import JOB, drills, held_words, hold_all, keep_drill
from wareleaf.works.recall_fault import KINDS, Fault
from wareleaf.works.recall_subjects import KIND_NAMES, TIMELESS, subjects

router = APIRouter()

_ASKED = ("kind", "subject", "since", "until", "tail_h", "known_on", "drill", "began")
# Column, its heading, whether it is a number (the largest first), and what it is sorted by.
_SORTS: tuple[tuple[str, str, bool, Callable[[Affected], Any]], ...] = (
    ("lot", "Lot", False, lambda a: a.lot.lot_id),
    ("form", "What", False, lambda a: (a.lot.form, a.lot.label)),
    ("why", "Why", False, lambda a: (a.level, a.why)),
    ("state", "State, where", False, lambda a: (a.lot.status, a.lot.place)),
    ("left", "Left", True, lambda a: a.lot.remaining_mass_g),
    ("share", "Share of the fault", True, lambda a: a.share),
    ("dry", "Dry matter of the fault", True, lambda a: a.dry_g),
    ("here", "Of it left here", True, lambda a: a.left_dry_g),
)
_FEW = 14


@dataclass(frozen=True)
class Question:
    """What was asked, read from the address or a form."""

    fault: Fault
    known_on: datetime | None
    drill: bool
    began: datetime


@router.get("/recall", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    if form.get("kind") and form.get("subject"):
        try:
            question = _question(request, form)
            found = recall(session.works_of(request), question.fault, question.known_on)
        except BadInput as error:
            return _ask(request, form, error.problems, refused_status(error))
        return _report(request, form, question, found)
    return _ask(request, form)


def _question(request: Request, form: Entered) -> Question:
    works, kind = session.works_of(request), form.get("kind")
    if kind not in KINDS:
        raise BadInput("kind", kind, f"kind is {kind!r}; it must be one of: {', '.join(KINDS)}.")
    subject = form.get("subject")
    if kind == "lot":
        subject = find_lots(works, None, text=subject, in_stock_only=False).exact or subject
    fault = Fault(
        kind,
        subject,
        since=form.time("since", "From") if kind not in TIMELESS else None,
        until=form.time("until", "Until") if kind not in TIMELESS else None,
        tail_h=form.maybe("tail_h", "Carry-over") if kind == "machine" else None,
    )
    known_on = form.time("known_on", "As known on")
    began = works.now()
    if form.get("began"):
        try:
            began = datetime.fromisoformat(form.get("began")).astimezone(works.settings.zone)
        except ValueError:
            form.wrong("began", "The time this began cannot be read; start again.")
    form.check()
    return Question(fault, known_on, form.get("drill") == "yes", began)


def _ask(
    request: Request, form: Entered, problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    works = session.works_of(request)
    kind = next((k for k in KINDS if k == form.get("kind")), None)
    options = subjects(works, kind) if kind else []
    context: dict[str, Any] = {
        "kinds": [(k, *KIND_NAMES[k]) for k in KINDS],
        "kind": kind,
        "options": options,
        "few": len(options) <= _FEW,
        "timeless": kind in TIMELESS,
        "drills": drills(works)[:6],
        "time_taken": time_taken,
        "cautions": CAUTIONS,
        "form": form,
        "path": "/trace",
    }
    data = {"kinds": KINDS, "subjects": options, "drills": context["drills"]}
    return show(request, "recall.html", context, data=data, problems=problems, status=status)


def _report(
    request: Request,
    form: Entered,
    question: Question,
    found: Recall,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    form.values["began"] = [question.began.isoformat(timespec="seconds")]
    query = {k: form.get(k) for k in _ASKED if form.get(k)}
    runs = [p.name for p in works.settings.person if MAY[JOB].intersection(p.roles)]
    context: dict[str, Any] = {
        "found": found,
        "question": question,
        "query": query,
        "address": "/recall?" + urlencode(query),
        "again": "/recall?" + urlencode({k: v for k, v in query.items() if k != "subject"}),
        "sorts": [column[:3] for column in _SORTS],
        "gone": [a for a in found.lots if not a.lot.remaining_mass_g],
        **_sorted(found, form.get("sort")),
        "customers": len({r.customer_id for r in found.received}),
        "balance": balance_of(found),
        "taken": time_taken((works.now() - question.began).total_seconds()),
        "files": [n for n in NAMES if n != "summary"],
        "who_may": runs,
        "destroyable": to_destroy(found),
        "kind_words": KIND_WORDS,
        "cautions": CAUTIONS,
        "form": form,
        "path": "/trace",
    }
    data = {"recall": found, "drill": question.drill, "accounted": found.last.accounted}
    return show(request, "recall_report.html", context, data=data, problems=problems, status=status)


def _sorted(found: Recall, by: str) -> dict[str, Any]:
    """All lots by a column that was pressed; nothing when none was."""
    for name, _, number, key in _SORTS:
        if name == by:
            return {"sort": name, "lots": sorted(found.lots, key=key, reverse=number)}
    return {"sort": "", "lots": ()}


@router.post("/recall/{act}", include_in_schema=False)
def act(request: Request, act: str, form: Entered = Depends(entered)) -> Response:
    works, who = session.works_of(request), session.person(request).id
    question: Question | None = None

    def do() -> str:
        asked_again = "/recall?" + urlencode({k: form.get(k) for k in _ASKED if form.get(k)})
        assert question is not None
        if act == "hold" and not question.drill:
            held = hold_all(
                works, who, question.fault, form.get("reason"), document=form.get("document")
            )
            session.say(request, held_words(held))
            return asked_again
        if act == "destroy" and not question.drill:
            names = ("method", "witness", "document", "reason")
            events = destroy_held(works, who, question.fault, **{n: form.get(n) for n in names})
            gone = sum(len(e.inputs) for e in events)
            session.say(request, f"{gone} lot{'s' if gone != 1 else ''} destroyed.")
            return asked_again
        if act == "keep" and question.drill:
            found = recall(works, question.fault, question.known_on)
            keep_drill(works, who, found, question.began)
            session.say(request, "The drill is kept in the book, with its result and its time.")
            return "/recall"
        raise BadInput("act", act, "In a drill nothing is held or destroyed; only a drill is kept.")

    try:
        question = _question(request, form)
        return once(form, do)
    except BadInput as error:
        return _again(request, works, form, question, error)


def _again(
    request: Request, works: Works, form: Entered, question: Question | None, error: BadInput
) -> Response:
    """The page a refused form came from, with what was typed."""
    status = refused_status(error)
    if question is None:
        return _ask(request, form, error.problems, status)
    try:
        found = recall(works, question.fault, question.known_on)
    except BadInput:
        return _ask(request, form, error.problems, status)
    return _report(request, form, question, found, error.problems, status)


@router.get("/recall/files/{name}", include_in_schema=False)
def file(request: Request, name: str, form: Entered = Depends(asked)) -> Response:
    from wareleaf.reports import recall_files, recall_pdf, recall_tables

    works = session.works_of(request)
    question = _question(request, form)
    found = recall(works, question.fault, question.known_on)
    zone = works.settings.zone
    stem, _, ending = name.rpartition(".")
    body: bytes
    if name == "report.pdf":
        began = question.began if question.drill and form.get("began") else None
        body = recall_pdf.recall_pdf(works, found, drill=question.drill, began=began)
        kind = "application/pdf"
    elif name == "report.xlsx":
        body = recall_files.xlsx_bytes(recall_tables.tables(works, found), zone)
        kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    elif ending == "csv":
        body = recall_files.csv_text(recall_tables.table_of(works, found, stem), zone).encode()
        kind = "text/csv; charset=utf-8"
    else:
        raise BadInput("name", name, f"There is no file {name!r} of a recall.")
    saved = f"recall-{works.now():%Y%m%d-%H%M}-{name}"
    headers = {"Content-Disposition": f'attachment; filename="{saved}"'}
    return Response(body, media_type=kind, headers=headers)


@router.get("/recall/{lot_id}", include_in_schema=False)
def of_lot(lot_id: str) -> Response:
    """From a lot's page straight to its recall."""
    return RedirectResponse(
        "/recall?" + urlencode({"kind": "lot", "subject": lot_id}), status_code=303
    )
