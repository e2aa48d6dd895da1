"""What was done to a lot and its forebears, step by step, and what was read meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, Imbalance, unexplained
from wareleaf.works.controls import CONTROLS
from wareleaf.works.house import Works
from wareleaf.works.trace_lot import TraceView


@dataclass(frozen=True)
class Part:
    """One lot of a step: id, form, mass, moisture (fraction wet basis)."""

    lot_id: str
    form: str
    mass_kg: float
    moisture_wb: float


@dataclass(frozen=True)
class Step:
    """One thing that was done.

    Parameters
    ----------
    kind, stage : str
        Kind of event; stage when it was a run.
    run_id, machine : str
        Of a run.
    started_at, at : datetime
        ``started_at`` is None where only the end is known.
    taken, made : tuple of Part
        What went in and came out.
    streams : tuple of (str, float, float)
        Name, kg and kg dry matter of what left on the way.
    settings : tuple of (str, str)
        Label and value with unit, as people say it.
    predicted : mapping or None
        What the operator was told beforehand; None when nothing was.
    unexplained_dry_kg : float
        Dry matter that nobody can account for.
    significant : str
        The sentence when that is beyond its uncertainty.
    who : str
        Name.
    """

    kind: str
    stage: str
    run_id: str
    machine: str
    started_at: datetime | None
    at: datetime
    taken: tuple[Part, ...]
    made: tuple[Part, ...]
    streams: tuple[tuple[str, float, float], ...]
    settings: tuple[tuple[str, str], ...]
    predicted: dict[str, float | None] | None
    unexplained_dry_kg: float
    significant: str
    who: str


@dataclass(frozen=True)
class Measured:
    """One reading on a run or a lot of the lineage; fractions in percent, ``unit`` says so."""

    at: datetime
    on: str
    quantity: str
    value: float
    standard_uncertainty: float
    unit: str
    meter: str
    who: str


def lineage_events(works: Works, view: TraceView) -> tuple[Event, ...]:
    """Events in force that made the lots of the lineage or speak of them, in order of happening.

    What was drawn from a forebear for another lot is left out.
    """
    lineage = {node.lot_id for node in view.back.nodes}
    found: dict[str, Event] = {}
    places: dict[str, int] = {}
    for lot_id in lineage:
        places |= {row.event.event_id: row.sequence for row in works.book.events(lot_id=lot_id)}
        for event in works.book.events_in_force(lot_id=lot_id):
            made = {m.lot_id for m in event.outputs}
            elsewhere = event.inputs and not made & lineage and event.kind != "sample"
            if not elsewhere:
                found[event.event_id] = event
    return tuple(sorted(found.values(), key=lambda e: (e.happened_at, places[e.event_id])))


def steps_of(works: Works, events: Sequence[Event], view: TraceView) -> tuple[Step, ...]:
    """The steps among the events: runs, and what was combined, split, blended or packed."""
    starts = {e.facts["run_id"]: e for e in events if e.kind == "stage_started"}
    ids = {e.event_id for e in events}
    first = min((e.happened_at for e in events), default=None)
    bad = {x.event_id: x for x in works.book.unbalanced(start=first) if x.event_id in ids}
    return tuple(
        _step(works, event, starts, bad, view) for event in events if event.inputs and event.outputs
    )


def _step(
    works: Works,
    event: Event,
    starts: dict[str, Event],
    bad: dict[str, Imbalance],
    view: TraceView,
) -> Step:
    start = starts.get(str(event.facts.get("run_id", "")))
    stage = str(event.facts.get("stage", ""))
    machines = {m.id: m.name for m in works.settings.equipment}
    names = {p.id: p.name for p in works.settings.person}
    lots = view.lots
    taken = tuple(
        Part(
            d.lot_id,
            lots[d.lot_id].form if d.lot_id in lots else "",
            d.mass_g / 1000.0,
            1.0 - d.dry_g / d.mass_g,
        )
        for d in event.inputs
    )
    made = tuple(
        Part(m.lot_id, m.form, m.mass_g / 1000.0, 1.0 - m.dry_g / m.mass_g) for m in event.outputs
    )
    return Step(
        kind=event.kind,
        stage=stage,
        run_id=str(event.facts.get("run_id", "")),
        machine=machines.get(str(event.facts.get("equipment", "")), event.place),
        started_at=start.happened_at if start else None,
        at=event.happened_at,
        taken=taken,
        made=made,
        streams=tuple((s.name, s.mass_g / 1000.0, s.dry_g / 1000.0) for s in event.streams),
        settings=_settings(stage, start),
        predicted=dict(start.facts["predicted"]) if start and "predicted" in start.facts else None,
        unexplained_dry_kg=unexplained(event).dry_g / 1000.0,
        significant=bad[event.event_id].sentence if event.event_id in bad else "",
        who=names.get(event.who, event.who),
    )


def _settings(stage: str, start: Event | None) -> tuple[tuple[str, str], ...]:
    if start is None:
        return ()
    known = {c.name: c for c in CONTROLS.get(stage, ())}
    found = []
    for name, value in start.facts["settings"].items():
        control = known.get(name)
        if control is None:
            found.append((name, f"{value:g}"))
        else:
            found.append((control.label, f"{value * control.shown_per:.4g} {control.unit}"))
    return tuple(found)


def measured_on(works: Works, view: TraceView, steps: Sequence[Step]) -> tuple[Measured, ...]:
    """Readings on the runs and lots of the lineage, in order."""
    runs = {s.run_id: s.machine for s in steps if s.run_id}
    lineage = {node.lot_id for node in view.back.nodes}
    if not lineage:
        return ()
    since = min(view.lots[lot_id].made_at for lot_id in lineage)
    meters = {m.id: m.name for m in works.settings.meter}
    names = {p.id: p.name for p in works.settings.person}
    sites = sorted({view.lots[lot_id].site for lot_id in lineage})
    found = []
    for site in sites:
        for event in works.book.events_in_force(kind="reading", since=since, site=site):
            facts = event.facts
            on_run, on_lot = str(facts.get("run_id", "")), str(facts.get("lot_id", ""))
            if on_run not in runs and on_lot not in lineage:
                continue
            percent = str(facts["unit"]).startswith("fraction")
            scale = 100.0 if percent else 1.0
            found.append(
                Measured(
                    at=event.happened_at,
                    on=runs.get(on_run, "") or on_lot,
                    quantity=str(facts["quantity"]).rsplit("_", 1)[0].replace("_", " "),
                    value=float(facts["value"]) * scale,
                    standard_uncertainty=float(facts["standard_uncertainty"]) * scale,
                    unit=str(facts["unit"]).replace("fraction", "%") if percent else facts["unit"],
                    meter=meters.get(str(facts.get("method", "")), str(facts.get("method", ""))),
                    who=names.get(event.who, event.who),
                )
            )
    found += _cooled(works, view, since)
    return tuple(sorted(found, key=lambda m: m.at))


def _cooled(works: Works, view: TraceView, since: datetime) -> list[Measured]:
    """Coolings of the lineage: of its lots, and of the harvests its loads were of."""
    names = {p.id: p.name for p in works.settings.person}
    lineage = {node.lot_id for node in view.back.nodes}
    loads = works.book.events_in_force(kind="intake", lot_id=lineage, since=since)
    harvests = {e.facts.get("harvest") for e in loads} - {None, ""}
    found = []
    for event in works.book.events_in_force(kind="cooling"):
        facts = event.facts
        lots = [k for k in facts["lots"] if k in lineage]
        if not lots and facts.get("harvest_id") not in harvests:
            continue
        found.append(
            Measured(
                at=event.happened_at,
                on=", ".join(lots) or f"harvest {facts['harvest_id']}",
                quantity=f"cooled, {facts['method']}",
                value=float(facts["temperature_c"]),
                standard_uncertainty=0.0,
                unit="degC",
                meter=event.place,
                who=names.get(event.who, event.who),
            )
        )
    return found
