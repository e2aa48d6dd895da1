"""The lots a fault starts at, each with why: by source, meter, laboratory, film or machine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from wareleaf.book import Event
from wareleaf.measure.errors import BadInput
from wareleaf.works.recall_fault import Fault, Start, check, events_in, finished_runs, in_time
from wareleaf.works.recall_machine import of_machine
from wareleaf.works.sight import Sight


def start_of(works: Sight, fault: Fault) -> Start:
    """The lots a fault starts at.

    Raises
    ------
    BadInput
        When the subject is unknown, the time runs backward, or no lot is affected.
    """
    check(fault)
    find = {
        "lot": _of_lot,
        "source": _of_source,
        "machine": of_machine,
        "meter": _of_meter,
        "laboratory": _of_laboratory,
        "film": _of_film,
    }[fault.kind]
    found = find(works, fault)
    if not found.lots:
        raise BadInput(
            "subject",
            fault.subject,
            f"No lot is affected: the book has nothing of {fault.kind} {fault.subject} in this "
            "time.",
        )
    return found


def _of_lot(works: Sight, fault: Fault) -> Start:
    lot = works.book.lot(fault.subject)
    return Start({lot.lot_id: "the lot at fault"}, ())


def _of_source(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    sites = {s.id: s.name.casefold() for s in works.settings.site}
    ids = {
        s.id: s.name
        for s in works.settings.source
        if asked in (s.id.casefold(), s.name.casefold(), s.grower.casefold(), s.site, sites[s.site])
    }
    lots: dict[str, str] = {}
    for event in events_in(works, fault, "intake"):
        for made in event.outputs:
            named = str(made.attributes.get("source") or event.facts.get("source") or "")
            if named in ids or named.casefold() == asked:
                lots[made.lot_id] = f"taken in from {ids.get(named, named)}"
    if not ids and not lots:
        growers = dict.fromkeys(s.grower for s in works.settings.source if s.grower)
        known = [*(s.id for s in works.settings.source), *growers]
        raise BadInput("subject", fault.subject, _unknown("source", fault.subject, known))
    return Start(lots, ())


def _unknown(what: str, subject: str, known: Iterable[str]) -> str:
    return f"There is no {what} {subject!r}; there are: {', '.join(known) or 'none'}."


_JUDGES = ("intake", "stage_finished", "split", "pack", "count", "reading", "result")


def _of_meter(works: Sight, fault: Fault) -> Start:
    meter = works.settings.meter_of(fault.subject)
    made_by = finished_runs(works, fault.since)
    lots: dict[str, str] = {}
    for event in events_in(works, fault, *_JUDGES):
        facts = event.facts
        named = {facts.get(k) for k in ("meter", "moisture_meter", "scale", "method")}
        for made in event.outputs:
            own = {made.attributes.get(k) for k in ("scale", "moisture_meter")}
            if meter.id in named or (event.kind == "stage_finished" and meter.id in own):
                lots.setdefault(made.lot_id, f"{meter.name} in its {_words(event.kind)}")
        if meter.id in named and not event.outputs:
            for lot_id in _spoken_of(works, event, made_by):
                lots.setdefault(lot_id, f"{meter.name} in a {_words(event.kind)}")
    return Start(_known(works, lots), ())


def _words(kind: str) -> str:
    return {"stage_finished": "run", "result": "laboratory result", "pack": "packing"}.get(
        kind, kind
    )


def _spoken_of(works: Sight, event: Event, made_by: Mapping[str, Event]) -> list[str]:
    """Lots that a reading or a result speaks of: its lot, or what its run made (or holds yet)."""
    if event.facts.get("lot_id"):
        return [str(event.facts["lot_id"])]
    run_id = str(event.facts.get("run_id"))
    if run_id in made_by:
        return [m.lot_id for m in made_by[run_id].outputs]
    return [lot_id for run in works.book.runs(ids=[run_id]) for lot_id in run.lots]


def _known(works: Sight, lots: dict[str, str]) -> dict[str, str]:
    """Without the lots that a correction took out of the book."""
    there = {lot.lot_id for lot in works.book.lots(ids=list(lots))}
    return {k: why for k, why in lots.items() if k in there}


def _of_laboratory(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    lots: dict[str, str] = {}
    known: dict[str, None] = {}
    for event in works.book.events_in_force(kind="result"):
        names = [str(event.facts.get(k) or "") for k in ("laboratory", "method", "kit")]
        known.update(dict.fromkeys(n for n in names if n))
        said_so = asked in [n.casefold() for n in names if n]
        if said_so and in_time(fault, event.happened_at):
            parameter = str(event.facts["parameter"]).replace("_", " ")
            said = lots.get(str(event.facts["lot_id"]))
            lots[str(event.facts["lot_id"])] = (
                f"{said}, {parameter}" if said else f"judged on {parameter}"
            )
    if asked not in [n.casefold() for n in known]:
        raise BadInput("subject", fault.subject, _unknown("laboratory", fault.subject, known))
    return Start(_known(works, lots), ())


def _of_film(works: Sight, fault: Fault) -> Start:
    asked = fault.subject.strip().casefold()
    films = {f.id: f.name for f in works.settings.film}
    by_name = {i for i, name in films.items() if asked in (i.casefold(), name.casefold())}
    lots: dict[str, str] = {}
    known: dict[str, None] = dict.fromkeys(films)
    for event in works.book.events_in_force(kind="pack"):
        names = {k: str(event.facts.get(k) or "") for k in ("film_batch", "label_batch")}
        known.update(dict.fromkeys(n for n in names.values() if n))
        if not in_time(fault, event.happened_at):
            continue
        if event.facts["film"] in by_name:
            why = f"packed in {films[event.facts['film']]}"
        else:
            found = [k for k, n in names.items() if n and n.casefold() == asked]
            if not found:
                continue
            why = f"{found[0].replace('_', ' ')} {names[found[0]]}"
        lots.update(dict.fromkeys((m.lot_id for m in event.outputs), why))
    if not by_name and asked not in [n.casefold() for n in known]:
        raise BadInput("subject", fault.subject, _unknown("film", fault.subject, known))
    return Start(_known(works, lots), ())
