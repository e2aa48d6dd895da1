"""Works: the settings, the leaf profiles and the limits, each figure with what it rests on."""

from __future__ import annotations

from collections import Counter
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wareleaf import leaf as leaves
from wareleaf.leaf.pedigree import source_of
from wareleaf.measure.errors import BadInput
from wareleaf.release import Limit, all_limits, markets
from wareleaf.release.checks import limit_words
from wareleaf.web import session
from wareleaf.web.forms import Entered, asked
from wareleaf.web.view import show
from wareleaf.works.house import Works
from wareleaf.works.release_lot import confirmations

router = APIRouter()

PARTS = (
    ("works", "Works"),
    ("machines", "Machines"),
    ("meters", "Meters"),
    ("people", "People"),
    ("products", "Products"),
    ("leaf", "Leaf figures"),
    ("limits", "Limits"),
)


@router.get("/settings", include_in_schema=False)
def page(request: Request, form: Entered = Depends(asked)) -> Response:
    works, site = session.works_of(request), session.site(request)
    part = form.get("part", "works")
    if part not in dict(PARTS):
        raise BadInput("part", part, f"There is no part {part!r} of the settings.")
    context: dict[str, Any] = {
        "parts_list": PARTS,
        "part": part,
        "settings": works.settings,
        "form": form,
        "mine": lambda rows: [row for row in rows if row.site == site.id],
        "site_name": {s.id: s.name for s in works.settings.site},
        "film_name": {f.id: f.name for f in works.settings.film},
    }
    if part == "leaf":
        context |= _leaf(works, site.id, form)
    elif part == "limits":
        context |= _limits(works, form)
    data = {
        "settings": works.settings,
        "leaf": context.get("figures", ()),
        "limits": [row["limit"] for row in context.get("rows", ())],
    }
    return show(request, "settings.html", context, data=data)


def _leaf(works: Works, site_id: str, form: Entered) -> dict[str, Any]:
    """A leaf profile with the source of every figure; the site's first leaf when none is asked."""
    own = [s.leaf for s in works.settings.source if s.site == site_id]
    chosen = form.get("leaf") or (own[0] if own else leaves.profile_ids()[0])
    profile = leaves.profile(chosen)
    figures = [(f, source_of(f).cite()) for f in profile.figures]
    return {
        "profile": profile,
        "profiles": [(i, leaves.profile(i).name) for i in leaves.profile_ids()],
        "figures": figures,
        "counted": Counter(str(f.evidence) for f, _ in figures).most_common(),
    }


def _limits(works: Works, form: Entered) -> dict[str, Any]:
    """The limits that speak to a market, with who confirmed them."""
    sold_to = dict.fromkeys(c.market for c in works.settings.customer)
    chosen = form.get("market") or next(iter(sold_to), "EU")
    place = next((m for m in markets() if m.id == chosen), None)
    if place is None:
        raise BadInput("market", chosen, f"There is no market {chosen!r}.")
    confirmed = {(c.limit_id, c.fingerprint): c for c in confirmations(works)}
    rows = [
        {
            "limit": limit,
            "words": limit_words(limit),
            "confirmed": _confirmed(limit, confirmed),
        }
        for limit in all_limits()
        if limit.market in place.answers_to
    ]
    return {
        "market": place,
        "markets": [(m.id, m.name) for m in markets()],
        "rows": rows,
    }


def _confirmed(limit: Limit, known: dict[tuple[str, str], Any]) -> Any:
    return known.get((limit.id, limit.fingerprint())) or known.get((limit.id, ""))
