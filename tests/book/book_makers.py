"""Short words for making events in tests. All of it is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from wareleaf.book import Draw, Event, Made, Stream

DAWN = datetime(2026, 4, 12, 5, 0, tzinfo=UTC)
NOW = DAWN + timedelta(days=60)


def at(minutes: float) -> datetime:
    return DAWN + timedelta(minutes=minutes)


def made(lot_id, mass_g, dry_g, *, form="fresh", mass_sd_g=0.0, dry_sd_g=0.0, **more) -> Made:
    return Made(lot_id, "sugar_kelp_raw", form, "quay", mass_g, dry_g, mass_sd_g, dry_sd_g, **more)


def event(event_id, kind, minute, *, site="skerry", inputs=(), outputs=(), streams=(), **more):
    happened = more.pop("happened_at", at(minute))
    recorded = more.pop("recorded_at", happened)
    return Event(
        event_id,
        kind,
        happened,
        recorded,
        site,
        who="ada",
        inputs=tuple(Draw(*d) for d in inputs),
        outputs=tuple(outputs),
        streams=tuple(Stream(*s) for s in streams),
        **more,
    )


def intake(event_id, lot_id, mass_g=1_000_000, dry_g=100_000, minute=0, **more):
    sd = {k: more.pop(k) for k in ("mass_sd_g", "dry_sd_g") if k in more}
    return event(event_id, "intake", minute, outputs=[made(lot_id, mass_g, dry_g, **sd)], **more)


def split(event_id, lot_id, parts, minute=10, **more):
    """Split by ``parts``: new id -> (mass, dry); the draw is their sum unless given."""
    mass, dry = (sum(p[i] for p in parts.values()) for i in (0, 1))
    draw = more.pop("draw", (mass, dry))
    outputs = [made(k, *v) for k, v in parts.items()]
    return event(event_id, "split", minute, inputs=[(lot_id, *draw)], outputs=outputs, **more)


def start(event_id, run_id, lots, minute=20, stage="dry", **more):
    facts = {"run_id": run_id, "stage": stage, "equipment": "belt 1", "settings": {}, "lots": lots}
    return event(event_id, "stage_started", minute, facts=facts, **more)


def finish(event_id, run_id, inputs, outputs, streams=(), *, minute=200, **more):
    return event(
        event_id,
        "stage_finished",
        minute,
        inputs=inputs,
        outputs=outputs,
        streams=streams,
        facts={"run_id": run_id},
        **more,
    )


def hold(event_id, lot_id, reason="under-dried", minute=300):
    return event(event_id, "hold", minute, facts={"lot_id": lot_id, "reason": reason})


def release(event_id, lot_id, markets=("north",), minute=310):
    facts = {"lot_id": lot_id, "markets": list(markets), "decisions": []}
    return event(event_id, "release", minute, facts=facts)


def ship(event_id, inputs, market="north", minute=400, **more):
    facts = {"customer": "Larkspur Foods", "market": market, "vehicle": "van"}
    return event(event_id, "ship", minute, inputs=inputs, facts=facts, **more)


def correction(event_id, corrects, minute=500, *, void=False, facts=None, happened=None, **more):
    """Recorded at ``minute``; it happened at ``happened`` (also a minute), by default the same."""
    when = at(minute if happened is None else happened)
    facts = {"reason": "typed wrong", "void": void, **(facts or {})}
    return event(
        event_id,
        "correction",
        minute,
        happened_at=when,
        recorded_at=at(minute),
        corrects=corrects,
        facts=facts,
        **more,
    )
