"""Papers of a lot to take along: dossier, receipt, exchange document; the buyer's check page."""

from __future__ import annotations

import importlib.util
import json
import re
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from wareleaf.measure.errors import BadInput
from wareleaf.reports.buyer_page import buyer_page
from wareleaf.web import session
from wareleaf.works.exchange_book import checked_document
from wareleaf.works.seal_book import receipt_of
from wareleaf.works.stamp import with_stamp

router = APIRouter()


@router.get("/lots/{lot_id}/dossier.pdf", include_in_schema=False)
def dossier(request: Request, lot_id: str) -> Response:
    works = session.works_of(request)
    works.book.lot(lot_id)
    if importlib.util.find_spec("wareleaf.reports.dossier") is None:
        raise BadInput("lot_id", lot_id, "This works has no dossier sheets installed.")
    from wareleaf.reports.dossier import dossier_pdf  # type: ignore[import-not-found,unused-ignore]

    name = f'inline; filename="{_file_name(lot_id)}.pdf"'
    return Response(
        dossier_pdf(works, lot_id),
        media_type="application/pdf",
        headers={"Content-Disposition": name},
    )


@router.get("/lots/{lot_id}/receipt.json", include_in_schema=False)
def receipt(request: Request, lot_id: str) -> Response:
    works = session.works_of(request)
    made = with_stamp(works, receipt_of(works, lot_id))
    return _download(f"receipt-{_file_name(lot_id)}.json", made, "application/json")


@router.get("/lots/{lot_id}/exchange.json", include_in_schema=False)
def exchange(request: Request, lot_id: str) -> Response:
    made = checked_document(session.works_of(request), lot_id)
    return _download(f"exchange-{_file_name(lot_id)}.json", made, "application/ld+json")


@router.get("/receipts/check-a-receipt.html", include_in_schema=False)
def check_page(request: Request) -> Response:
    name = 'attachment; filename="check-a-receipt.html"'
    return Response(buyer_page(), media_type="text/html", headers={"Content-Disposition": name})


def _file_name(lot_id: str) -> str:
    """A lot number as part of a file name on any machine."""
    return re.sub(r"[^A-Za-z0-9._-]", "-", lot_id)


def _download(name: str, data: Mapping[str, Any], media_type: str) -> Response:
    body = json.dumps(data, ensure_ascii=False, indent=1) + "\n"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=media_type, headers=headers)
