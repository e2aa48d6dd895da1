"""Bench: samples that wait, what the laboratory found, and the lots that wait for a word."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.web import session
from wareleaf.web.as_json import wants_json
from wareleaf.web.forms import Entered, asked, entered, once
from wareleaf.web.office_words import parameter_name
from wareleaf.web.view import refused_status, show
from wareleaf.works import bench, bench_list
from wareleaf.works.bench_list import ToReport
from wareleaf.works.properties import worth_testing

router = APIRouter()

OWN_BENCH = "own bench"
OTHER = "other"  # in an address: what the list does not name


@router.get("/bench", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    works, site = session.works_of(request), session.site(request)
    lot_id = form.get("lot")
    waits = bench.waiting(works, site.id)
    if lot_id and not wants_json(request):
        mine = next((s for s in bench.waiting(works) if s.lot_id == lot_id), None)
        if mine is not None:
            return RedirectResponse(f"/bench/{mine.sample_id}", status_code=303)
    if form.get("sample_of"):
        form.values["lot_id"] = form.all("sample_of")
        return _page(request, waits, form)
    return _page(request, waits)


def _page(
    request: Request,
    waits: Sequence[bench.WaitingSample],
    form: Entered | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works, site = session.works_of(request), session.site(request)
    stock = works.book.lots(site=site.id, in_stock_only=True)
    context: dict[str, Any] = {
        "waits": waits,
        "lots": {lot.lot_id: lot for lot in works.book.lots(ids=[w.lot_id for w in waits])},
        "to_assess": bench_list.to_assess(works, site.id),
        "reports": bench_list.reported(works, site.id),
        "stock": [lot for lot in reversed(stock) if not lot.on_runs],
    }
    if form is not None:
        context["form"] = form
    data = {k: context[k] for k in ("waits", "to_assess", "reports")}
    return show(request, "bench.html", context, data=data, problems=problems, status=status)


@router.post("/bench/sample", include_in_schema=False)
def take(request: Request, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        lot_id = form.text("lot_id", "Lot")
        mass_g = form.number("mass_g", "Weight of the sample")
        form.check()
        who = session.person(request).id
        paper, note = form.get("document"), form.get("note")
        sample = bench.take_sample(works, who, lot_id, round(mass_g), document=paper, note=note)
        session.say(request, f"Sample {sample} of {lot_id}: write that on the bag.")
        return "/bench"

    try:
        return once(form, do)
    except BadInput as error:
        waits = bench.waiting(works, session.site(request).id)
        return _page(request, waits, form, error.problems, refused_status(error))


@router.get("/bench/next", include_in_schema=False)
def next_tests(request: Request) -> Response:
    works, site = session.works_of(request), session.site(request)
    tests = worth_testing(works, site.id, most=6)
    context = {
        "tests": tests,
        "counts": works.settings.laboratory.wrong_release_counts,
        "currency": works.settings.firm.currency,
        "path": "/bench",
    }
    return show(request, "next_test.html", context, data=tests)


@router.get("/bench/{sample_id}", include_in_schema=False)
def result_page(request: Request, sample_id: str, form: Entered = Depends(asked)) -> Response:
    return _result_page(request, sample_id, form)


def _result_page(
    request: Request,
    sample_id: str,
    form: Entered,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    works = session.works_of(request)
    sample = bench_list.sample_of(works, sample_id)
    lot = works.book.lot(sample.lot_id)
    session.look_at(request, lot.site)
    listed = bench_list.to_report(works, lot.lot_id)
    own = [
        e
        for e in works.book.events_in_force(kind="result", lot_id=lot.lot_id)
        if e.facts["sample_id"] == sample_id
    ]
    moisture = next((e for e in reversed(own) if e.facts["parameter"] == "moisture"), None)
    chosen = _chosen(listed, form, {str(e.facts["parameter"]) for e in own})
    if form.get("parameter") == OTHER:
        form.values["parameter"] = [""]
    context: dict[str, Any] = {
        "sample": sample,
        "lot": lot,
        "listed": listed,
        "chosen": chosen,
        "own": own,
        "moisture": f"{float(moisture.facts['value']):.4g}" if moisture else "",
        "laboratory": session.remembered(request, "laboratory", OWN_BENCH),
        "document": session.remembered(request, f"paper {sample_id}"),
        "form": form,
        "path": "/bench",
    }
    data = {"sample": sample, "lot": lot, "to_report": listed, "results": own}
    return show(request, "result.html", context, data=data, problems=problems, status=status)


def _chosen(listed: Sequence[ToReport], form: Entered, own: set[str]) -> ToReport | None:
    """What is reported next: what was asked for, else the first that this sample lacks."""
    wanted = form.get("parameter")
    if wanted:
        return next((p for p in listed if p.parameter == wanted), None)
    if "moisture" not in own:
        return next(p for p in listed if p.parameter == "moisture")
    return next((p for p in listed if p.parameter not in own), listed[0])


@router.post("/bench/{sample_id}", include_in_schema=False)
def keep(request: Request, sample_id: str, form: Entered = Depends(entered)) -> Response:
    works = session.works_of(request)

    def do() -> str:
        sample = bench_list.sample_of(works, sample_id)
        found = _found(form, bench_list.to_report(works, sample.lot_id))
        who = session.person(request).id
        document = form.get("document")
        bench.record_result(works, who, sample.lot_id, sample_id, found, document=document)
        session.remember(request, laboratory=found.laboratory)
        if document:
            session.remember(request, **{f"paper {sample_id}": document})
        session.say(request, f"Kept: {parameter_name(found.parameter)} of {sample.lot_id}.")
        return f"/bench/{sample_id}"

    try:
        return once(form, do)
    except BadInput as error:
        return _result_page(request, sample_id, form, error.problems, refused_status(error))


def _found(form: Entered, listed: Sequence[ToReport]) -> bench.Found:
    """The result as typed, in the form the book keeps."""
    name = form.text("parameter", "What was found")
    value = form.number("value", "Value")
    printed = form.maybe("uncertainty", "Uncertainty")
    moisture = None if name == "moisture" else form.maybe_percent("moisture_wb", "Moisture")
    usual = next((p.usual_relative_sd for p in listed if p.parameter == name), None)
    sd = bench_list.standard_uncertainty(
        value, printed, form.get("uncertainty_in", "%") == "%", usual
    )
    if sd is None:
        form.wrong(
            "uncertainty", "Uncertainty is empty, and no earlier result tells the usual one."
        )
    form.check()
    assert sd is not None
    return bench.Found(
        parameter=name,
        value=value,
        standard_uncertainty=sd,
        unit=form.text("unit", "Unit"),
        basis=form.get("basis", "wet"),
        moisture_wb=moisture,
        below_loq=bool(form.get("below_loq")),
        method=form.get("method"),
        laboratory=form.get("laboratory") or OWN_BENCH,
        kit=form.get("kit"),
    )
