"""Readings, results and cooling as sensor elements of EPCIS."""

from __future__ import annotations

from datetime import datetime

from wareleaf.book.event import JSON, Event
from wareleaf.book.exchange.kinds import OTHER_SENSOR, SENSORS
from wareleaf.book.exchange.naming import PREFIX


def sensor(event: Event, kind: str) -> dict[str, JSON]:
    """What a reading or a result measured, with its standard uncertainty, as a sensor element."""
    facts = event.facts
    name = str(facts["quantity"] if kind == "reading" else facts["parameter"])
    sensor, unit, factor = SENSORS.get(name, OTHER_SENSOR)
    report: dict[str, JSON] = {
        "type": sensor,
        "value": _rounded(factor * float(facts["value"])),
        "sDev": _rounded(factor * float(facts["standard_uncertainty"])),
        "uom": unit,
        f"{PREFIX}:quantity": name,
        f"{PREFIX}:unit": str(facts["unit"]),
    }
    return {
        "sensorMetadata": {"time": time_text(event.happened_at)},
        "sensorReport": [report],
    }


def cold(event: Event) -> dict[str, JSON]:
    """The temperature of what cools, over the time that it did."""
    facts = event.facts
    when: dict[str, JSON] = {"startTime": time_text(datetime.fromisoformat(facts["from"]))}
    if facts.get("until"):
        when["endTime"] = time_text(datetime.fromisoformat(facts["until"]))
    report: dict[str, JSON] = {
        "type": "Temperature",
        "value": _rounded(float(facts["temperature_c"])),
        "uom": "CEL",
    }
    return {"sensorMetadata": when, "sensorReport": [report]}


def _rounded(value: float) -> float:
    return float(f"{value:.12g}")


def time_text(moment: datetime) -> str:
    """A moment as EPCIS writes it: to the millisecond, finer only where it is."""
    return moment.isoformat(timespec="milliseconds" if moment.microsecond % 1000 == 0 else "auto")
