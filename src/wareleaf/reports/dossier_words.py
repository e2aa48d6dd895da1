"""The dossier in words: every number as people read it, ready to be set."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from wareleaf.release import Assessment
from wareleaf.works.dossier import Dossier, Signed
from wareleaf.works.dossier_steps import Step

_EVENT = {
    "combine": "Combined",
    "split": "Split",
    "blend": "Blended",
    "pack": "Packed",
    "rework": "Reworked",
    "receive_back": "Came back",
    "stage_finished": "Run",
}
_STATUS = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "missing_result": "no result",
    "warn_only": "warns only",
}


def words_of(d: Dossier, zone: ZoneInfo) -> dict[str, Any]:
    """Everything the template prints, as strings and lists of them."""

    def at(moment: datetime | None) -> str:
        return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" if moment else ""

    return {
        "title": f"Dossier of lot {d.lot.lot_id}",
        "lot": d.lot.lot_id,
        "firm": d.firm,
        "site": d.site,
        "head_at": at(d.head_at),
        "zone": str(zone),
        "identity": _identity(d, at(d.lot.made_at)),
        "held": d.lot.held_because,
        "origins": [
            {"name": o.name, "share": o.share, "cells": [_pct(o.share), f"{o.dry_kg:,.2f} kg"]}
            for o in d.origins
        ],
        "tickets": [
            [
                t.lot_id,
                t.source + (f" ({t.grower})" if t.grower else ""),
                at(t.at),
                f"{t.net_kg:,.1f} ± {t.net_sd_kg:.1f}",
                f"{t.moisture_wb * 100:.1f} ± {t.moisture_sd * 100:.1f}",
                f"{t.ticket_kg:,.1f}" if t.ticket_kg is not None else "–",
                _pct(t.share),
                t.document or "–",
                t.who,
            ]
            for t in d.tickets
        ],
        "steps": [_step(step, at(step.started_at), at(step.at)) for step in d.steps],
        "readings": [
            [
                at(m.at),
                m.on,
                m.quantity,
                f"{m.value:.4g} ± {m.standard_uncertainty:.2g}",
                m.unit,
                m.meter,
                m.who,
            ]
            for m in d.measured
        ],
        "results": [
            [
                at(event.happened_at)[:10],
                lot,
                r.parameter.replace("_", " "),
                f"{'< ' if r.below_loq else ''}{r.value:g} ± {r.standard_uncertainty:.2g} {r.unit}",
                r.basis + (f", {_pct(r.moisture_wb)} water" if r.moisture_wb is not None else ""),
                _method(d, str(event.facts.get("method", ""))),
                r.reference + (f", {event.document}" if event.document else ""),
            ]
            for lot, r, event in d.results
        ],
        "signed": [_signed(s, at(s.at)) for s in d.signed],
        "standing": [_standing(a) for a in d.standing],
        "receipts": [
            [
                at(r.shipped_at),
                r.lot_id,
                f"{r.customer} ({r.market})",
                f"{r.mass_kg:,.2f}" + (f" ({r.returned_kg:,.2f} back)" if r.returned_kg else ""),
                f"{r.dry_from_lot_kg:,.2f}",
                r.document or "–",
            ]
            for r in d.receipts
        ],
        "balance": _balance(d),
        "rests_on": [d.evidence_sentence],
        "sources": list(d.model_sources),
        "basis": [[b.quantity, _valued(b.value, b.unit), b.evidence, b.cite] for b in d.basis],
        "cautions": list(d.cautions),
        "seal": {
            "verdict": d.verified.message,
            "ok": d.verified.ok,
            "head": d.verified.head_hash,
            "tree": d.tree_root,
            "size": f"{d.tree_size:,}",
            "events": [
                [
                    str(e.sequence),
                    e.kind.replace("_", " ") + (" – superseded" if e.superseded_by else ""),
                    at(e.at),
                    e.who,
                    e.hash,
                ]
                for e in d.sealed
            ],
        },
    }


def _method(d: Dossier, method: str) -> str:
    return d.meters.get(method, method) or "–"


def _valued(value: float, unit: str) -> str:
    return f"{value:.6g}" if unit in ("", "1") else f"{value:.6g} {unit}"


def _pct(fraction: float) -> str:
    return f"{fraction * 100:.1f} %"


def _identity(d: Dossier, made_at: str) -> list[list[str]]:
    lot = d.lot
    rows = [
        ["Leaf", f"{d.leaf_name}, {lot.form}"],
        ["Product", d.product or "none yet"],
        ["Called", lot.label or "–"],
        ["Number in own sheets", str(lot.attributes.get("own_number", ""))],
        ["Grade", str(lot.attributes.get("grade", ""))],
        ["Made", made_at],
        ["Mass as made", f"{lot.mass_g / 1000:,.3f} kg ± {lot.mass_sd_g / 1000:,.3f} kg"],
        ["Moisture", f"{_pct(lot.moisture_wb)} wet basis ± {_pct(d.moisture_sd)}"],
        ["Dry matter", f"{lot.dry_g / 1000:,.3f} kg ± {lot.dry_sd_g / 1000:,.3f} kg"],
        ["Left now", f"{lot.remaining_mass_g / 1000:,.3f} kg, {lot.place}"],
        ["State", lot.status.replace("_", " ")],
        ["Released for", ", ".join(lot.released_for) or "no market"],
        ["Best before", str(lot.attributes.get("best_before", ""))],
    ]
    return [row for row in rows if row[1]]


def _parts(step: Step) -> tuple[str, str]:
    def said(parts: Sequence[Any]) -> str:
        return "; ".join(
            f"{p.lot_id} {p.mass_kg:,.2f} kg at {_pct(p.moisture_wb)}"
            + (f" ({p.form})" if p.form else "")
            for p in parts
        )

    return said(step.taken), said(step.made)


def _step(step: Step, started: str, ended: str) -> dict[str, Any]:
    taken, made = _parts(step)
    lost = "; ".join(
        f"{name}{' taken up' if mass < 0.0 else ''} {abs(mass):,.2f} kg"
        + (f" ({abs(dry):,.2f} kg dry)" if dry else "")
        for name, mass, dry in step.streams
    )
    lines = [["In", taken], ["Out", made]]
    if lost:
        lines.append(["Left on the way", lost])
    if step.settings:
        lines.append(["Set to", "; ".join(f"{label}: {value}" for label, value in step.settings)])
    if step.predicted:
        lines.append(["Foreseen", _foreseen(step)])
    lines.append(["Unexplained", f"{step.unexplained_dry_kg:+.3f} kg dry matter"])
    what = step.stage.capitalize() if step.stage else _EVENT.get(step.kind, step.kind)
    return {
        "what": what,
        "where": step.machine,
        "when": f"{started} to {ended}" if started else ended,
        "who": step.who,
        "lines": lines,
        "warn": step.significant,
    }


def _foreseen(step: Step) -> str:
    """What was predicted beside what came."""
    told = step.predicted or {}
    came_kg = sum(p.mass_kg for p in step.made)
    came_wb = sum(p.mass_kg * p.moisture_wb for p in step.made) / came_kg
    parts = []
    if told.get("mass_out_kg") is not None:
        parts.append(f"{told['mass_out_kg']:,.1f} kg, came {came_kg:,.1f} kg")
    foreseen_wb = told.get("moisture_wb_out")
    if foreseen_wb is not None:
        spread = told.get("moisture_wb_out_sd") or 0.0
        parts.append(f"{_pct(foreseen_wb)} ± {_pct(spread)}, came {_pct(came_wb)}")
    if told.get("duration_h") is not None and step.started_at is not None:
        took = (step.at - step.started_at).total_seconds() / 3600.0
        spread = told.get("duration_sd_h") or 0.0
        parts.append(f"{told['duration_h']:.2f} h ± {spread:.2f} h, took {took:.2f} h")
    if told.get("leaf_temperature_max_c") is not None:
        parts.append(f"hottest leaf {told['leaf_temperature_max_c']:.0f} °C")
    return "; ".join(parts)


def _signed(s: Signed, at: str) -> dict[str, Any]:
    verb = {"hold": "Hold", "release": "Release", "freed": "Freed from hold"}[s.kind]
    rows = [
        [
            str(line["limit_id"]),
            str(line["parameter"]).replace("_", " "),
            _STATUS.get(str(line["status"]), str(line["status"])),
            _chance(line["probability"]),
            str(line["evidence"]) + (f", confirmed by {c}" if (c := line["confirmed_by"]) else ""),
            str(line["sentence"]),
        ]
        for decision in s.decisions
        for line in _lines_of(decision)
    ]
    return {
        "what": verb + (f" for {', '.join(s.markets)}" if s.markets else ""),
        "lot": s.lot_id,
        "when": at,
        "who": f"{s.who} ({s.role})" if s.role else s.who,
        "words": s.words,
        "document": s.document,
        "rows": rows,
    }


def _lines_of(decision: dict[str, object]) -> list[dict[str, object]]:
    found = decision.get("decisions")
    return list(found) if isinstance(found, list | tuple) else []


def _chance(probability: object) -> str:
    return f"{float(str(probability)):.3f}" if probability is not None else "–"


def _standing(a: Assessment) -> dict[str, Any]:
    return {
        "market": a.market.name,
        "may": a.may_release,
        "sentences": list(a.sentences),
        "rows": [
            [
                line.limit.id,
                line.limit.parameter.replace("_", " "),
                _STATUS.get(line.status.value, line.status.value),
                _chance(line.probability),
                line.limit.evidence.value,
            ]
            for line in a.lines
        ],
    }


def _balance(d: Dossier) -> list[list[str]]:
    w = d.whereabouts
    taken = sum(t.dry_kg for t in d.tickets)
    return [
        ["Dry matter in this lot, by the loads it came from", f"{taken:,.3f} kg"],
        ["Dry matter as made", f"{w.made_kg:,.3f} kg"],
        ["In stock, in this lot and what was made of it", f"{w.in_stock_kg:,.3f} kg"],
        ["With customers", f"{w.shipped_kg:,.3f} kg"],
        ["Gone on the way (samples, waste, dust, unexplained)", f"{w.gone_kg:,.3f} kg"],
    ]
