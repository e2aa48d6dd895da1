"""The dossier of a lot as PDF, set with typst.

typst was chosen because its wheel needs nothing from the system, sets a page in milliseconds and
is reproducible. Only fonts that are inside the wheel are used, the document bears the time of the
book's last event, and text from the book reaches the template as data, never as markup.
"""

from __future__ import annotations

import json
from datetime import UTC
from functools import cache
from importlib import resources
from typing import Any, Literal

from wareleaf.reports.dossier_words import words_of
from wareleaf.works.dossier import Dossier, dossier
from wareleaf.works.house import Works


def dossier_pdf(works: Works, lot_id: str) -> bytes:
    """The dossier of a lot; the same book gives the same bytes.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    return bytes(_compile(dossier(works, lot_id), works, "pdf"))


def dossier_pages(works: Works, lot_id: str, ppi: float = 110.0) -> list[bytes]:
    """The same as one PNG a page, for screens."""
    pages = _compile(dossier(works, lot_id), works, "png", ppi)
    return list(pages) if isinstance(pages, list) else [pages]


def _compile(
    gathered: Dossier, works: Works, kind: Literal["pdf", "png"], ppi: float | None = None
) -> Any:
    import typst

    words = words_of(gathered, works.settings.zone)
    at = gathered.head_at.astimezone(UTC)
    words["date"] = [at.year, at.month, at.day, at.hour, at.minute, at.second]
    return typst.compile(
        _template(),
        format=kind,
        ppi=ppi,
        sys_inputs={"data": json.dumps(words, ensure_ascii=False, allow_nan=False)},
        ignore_system_fonts=True,
        timestamp=int(at.timestamp()),
    )


@cache
def _template() -> bytes:
    return resources.files("wareleaf.reports").joinpath("dossier.typ").read_bytes()
