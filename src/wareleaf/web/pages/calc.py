"""The calculation doors over HTTP, and a page that documents them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, Response

from wareleaf.web.view import show
from wareleaf.works import doors, fit_page

router = APIRouter()


@router.get("/api/calc")
def list_doors() -> dict[str, str]:
    """Every door with its summary."""
    return {name: doors.summary(name) for name in doors.door_names()}


@router.get("/api/calc/{name}")
def door_schema(name: str) -> dict[str, Any]:
    """JSON Schema of a door's input and output."""
    return doors.schema(name)


@router.post("/api/calc/{name}")
def run_door(name: str, data: dict[str, Any] = Body()) -> dict[str, Any]:
    """Run a door."""
    return doors.call(name, data, from_afar=True)


@router.post("/api/calc/{name}/plot")
def plot_door(name: str, data: dict[str, Any] = Body()) -> HTMLResponse:
    """Run a fit and show its curve and residuals as a page."""
    fit_page.check_plotted(name)
    return HTMLResponse(fit_page.as_html(name, data, doors.call(name, data, from_afar=True)))


@router.get("/api/docs", include_in_schema=False)
def docs(request: Request) -> Response:
    shown = [(name, doors.summary(name), doors.schema(name)) for name in doors.door_names()]
    return show(request, "calc_docs.html", {"doors": shown})
