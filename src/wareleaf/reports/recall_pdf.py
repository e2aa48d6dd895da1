"""The report of a recall as PDF, set with typst like the dossier."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from typing import Any

from wareleaf.reports.recall_tables import CAUTIONS, KIND_WORDS, balance_of, tables, time_taken
from wareleaf.works.house import Works
from wareleaf.works.recall import Affected, Recall
from wareleaf.works.recall_elements import MISSING

_SHEETS = ("harvest", "cooling", "initial-packing", "receiving", "transformation", "shipping")


def recall_pdf(
    works: Works, found: Recall, *, drill: bool = False, began: datetime | None = None
) -> bytes:
    """A recall as PDF.

    ``drill`` marks it as one on every page; with ``began`` it says how long people have taken.
    """
    import typst

    at = works.now().astimezone(UTC)
    words = words_of(works, found, drill, began)
    words["date"] = [at.year, at.month, at.day, at.hour, at.minute, at.second]
    made = typst.compile(
        _template(),
        format="pdf",
        sys_inputs={"data": json.dumps(words, ensure_ascii=False, allow_nan=False)},
        ignore_system_fonts=True,
        timestamp=int(at.timestamp()),
    )
    assert isinstance(made, bytes)
    return made


def words_of(
    works: Works, found: Recall, drill: bool, began: datetime | None = None
) -> dict[str, Any]:
    """Everything the template prints, as strings and lists of them."""
    zone = works.settings.zone

    def at(moment: datetime | None) -> str:
        return f"{moment.astimezone(zone):%d %b %Y %H:%M}" if moment else "–"

    last = found.last
    sites = {s.id: s.name for s in works.settings.site}
    return {
        "title": found.fault_words,
        "firm": works.settings.firm.name,
        "drill": drill,
        "printed": at(works.now()),
        "zone": str(zone),
        "known": at(found.known_at) if found.past else "",
        "figures": [
            ["lots reached", str(len(found.lots))],
            ["still here", str(len(found.here))],
            ["not on hold", str(len(found.not_held))],
            ["customers", str(len({r.customer_id for r in found.received}))],
            ["accounted for", f"{last.accounted * 100:.2f} %"],
            ["the book's time", f"{found.seconds:.2f} s"],
            *([["time taken", time_taken((works.now() - began).total_seconds())]] if began else []),
        ],
        "verdict": _verdict(found),
        "explained": found.explained,
        "notes": list(found.notes),
        "received": [
            [
                at(r.shipped_at),
                f"{r.customer} ({r.market})",
                "\n".join(p for p in (r.contact, r.phone, r.mail) if p) or MISSING,
                r.lot_id + (f"\n{r.label}" if r.label else ""),
                _kg(r.mass_kg) + (f" ({_kg(r.returned_kg)} came back)" if r.returned_kg else ""),
                f"{_kg(r.dry_from_fault_kg)}\n{r.share * 100:.1f} %",
                r.document or MISSING,
            ]
            for r in found.received
        ],
        "balance": _balance(found),
        "here": [_lot(a, sites) for a in found.here],
        "gone": [_lot(a, sites) for a in found.lots if not a.lot.remaining_mass_g],
        "missing": [
            [
                at(m.happened_at),
                " at ".join(p for p in (KIND_WORDS.get(m.kind, m.kind), m.place) if p),
                ", ".join(m.lot_ids[:6]) + (" …" if len(m.lot_ids) > 6 else ""),
                f"{_kg(m.dry_kg)} ± {_kg(m.sd_kg)}",
            ]
            for m in found.missing[:20]
        ],
        "more_missing": max(len(found.missing) - 20, 0),
        "sheets": [
            [t.title, str(len(t.rows)), t.note] for t in tables(works, found) if t.name in _SHEETS
        ],
        "cautions": list(CAUTIONS),
    }


def _lot(a: Affected, sites: Mapping[str, str]) -> list[str]:
    state = a.lot.status.replace("_", " ")
    where = f"{sites.get(a.lot.site, a.lot.site)}, {a.lot.place}"  # two sites can have a "store"
    return [
        a.lot.lot_id,
        ", ".join(w for w in (a.lot.form, a.lot.label) if w),
        a.why,
        f"{where}\n{state}" if a.lot.remaining_mass_g else state,
        _kg(a.lot.remaining_mass_g / 1000.0),
        f"{a.share * 100:.1f} %",
        _kg(a.dry_g / 1000.0),
        _kg(a.left_dry_g / 1000.0),
    ]


def _verdict(found: Recall) -> str:
    gap, sd = found.last.unexplained_g / 1000.0, found.unexplained_sd_g / 1000.0
    told = "within" if found.explained else "more than"
    return (
        f"Of {_kg(found.last.total_g / 1000.0)} kg dry matter, {_kg(gap)} kg is unexplained; the "
        f"scales tell it to ± {_kg(2.0 * sd)} kg (two standard uncertainties). That is {told} "
        "what they explain."
    )


def _balance(found: Recall) -> list[list[str]]:
    first, last = found.first, found.last

    def kg(grams: int) -> str:
        return f"{grams / 1e3:,.3f}"  # to the gram, so that the column adds up on paper

    rows = [[name, kg(mine), kg(onward)] for name, mine, onward in balance_of(found)]
    rows.append(["Entered with the fault", kg(first.total_g), kg(last.total_g)])
    rows.append(
        [
            "Accounted for",
            f"{first.accounted * 100:.2f} %",
            f"{last.accounted * 100:.2f} %",
        ]
    )
    return rows


def _kg(value: float) -> str:
    """Kilograms to the gram below 10, else to 10 g; a dash for none."""
    if value == 0.0:
        return "–"
    return f"{value:,.3f}" if abs(value) < 10.0 else f"{value:,.2f}"


@cache
def _template() -> bytes:
    return resources.files("wareleaf.reports").joinpath("recall.typ").read_bytes()
