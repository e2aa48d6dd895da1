"""Scales and meters: intake weights against tickets, meters against the reference."""

from __future__ import annotations

from datetime import datetime

from wareleaf.book import Event
from wareleaf.measure.drift import find_drift
from wareleaf.measure.weighing import weigh_outliers
from wareleaf.works.finding import FALSE_ALARM, Finding
from wareleaf.works.house import Works

FEWEST_WEIGHTS = 6
FEWEST_PAIRS = 8
# Two scales of good standing, and what drips off between them. Common practice, no source.
TICKET_RELATIVE_SD = 0.012
# A meter's error in the unit of people: factor and word.
_SHOWN = {
    "moisture_wb": (100.0, "points"),
    "relative_humidity": (100.0, "points"),
    "mass_kg": (1.0, "kg"),
    "temperature_c": (1.0, "K"),
    "net_g": (1.0, "g"),
    "theaflavin_fraction": (100.0, "points"),
    "colour_index": (1.0, "of its index"),
}


def weights(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Intake weights against the growers' tickets."""
    found = []
    for each in sites_of(works, site):
        intakes = [
            e
            for e in works.book.events_in_force(kind="intake", until=until, site=each)
            if e.facts.get("ticket_kg") and e.outputs
        ]
        if len(intakes) < FEWEST_WEIGHTS:
            continue
        net = [e.outputs[0].mass_g / 1000.0 for e in intakes]
        ticket = [float(e.facts["ticket_kg"]) for e in intakes]
        for bad in weigh_outliers(
            net, ticket, least_relative_sd=TICKET_RELATIVE_SD, false_alarm=FALSE_ALARM
        ):
            event = intakes[bad.index]
            lot = event.outputs[0].lot_id
            found.append(
                Finding(
                    kind="weight",
                    severity="stop",
                    at=event.happened_at,
                    site=each,
                    where=str(event.facts.get("meter", "")),
                    subjects=(event.event_id, lot),
                    sentence=f"Intake of {lot}: {bad.sentence}",
                    numbers={"ratio": bad.ratio, "z": bad.z, "likely_kg": bad.likely_kg},
                )
            )
    return found


def meters(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Meters against the reference tried on the same leaf."""
    pairs: dict[str, list[Event]] = {}
    for event in works.book.events_in_force(kind="reading", until=until, site=site):
        if event.facts.get("reference_value") is not None:
            pairs.setdefault(str(event.facts["method"]), []).append(event)
    found = []
    for meter_id, events in pairs.items():
        events.sort(key=lambda e: e.happened_at)
        start = events[0].happened_at
        days = [(e.happened_at - start).total_seconds() / 86400.0 for e in events]
        if len(set(days)) < FEWEST_PAIRS:
            continue
        meter = works.settings.meter_of(meter_id)
        shown_per, unit = _SHOWN.get(meter.quantity, (1.0, ""))
        seen = find_drift(
            days,
            [
                (float(e.facts["value"]) - float(e.facts["reference_value"])) * shown_per
                for e in events
            ],
            [max(float(e.facts["standard_uncertainty"]), 1e-6) * shown_per for e in events],
            false_alarm=FALSE_ALARM / max(1, len(pairs)),
            unit=unit,
        )
        if not seen.drifting:
            continue
        onset = seen.onset_day or 0.0
        per_week = (seen.per_week or 0.0) / shown_per
        found.append(
            Finding(
                kind="meter",
                severity="stop",
                at=events[-1].happened_at,
                site=meter.site,
                where=meter.id,
                subjects=(meter.id,),
                sentence=f"{meter.name} drifts: {seen.sentence}",
                numbers={
                    "onset_day": onset,
                    "onset_at": _day_after(start, onset).isoformat(),
                    "per_week": per_week,
                    "error_now": seen.error_now / shown_per,
                },
            )
        )
    return found


def _day_after(start: datetime, days: float) -> datetime:
    return datetime.fromtimestamp(start.timestamp() + days * 86400.0, start.tzinfo)


def sites_of(works: Works, site: str | None) -> list[str]:
    """The site that is asked for, or all."""
    return [site] if site else [s.id for s in works.settings.site]
