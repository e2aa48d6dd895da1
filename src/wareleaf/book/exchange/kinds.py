"""Which EPCIS event, business step and disposition each kind of the book is.

The vocabulary has no word for drying or withering; a run is a transformation with the step
``creating_class_instance`` and our own field says which stage it was. Leaf that comes back
gets a new lot number, so its receipt is a transformation too (step ``receiving``). A harvest and a
growing unit have no lot yet and are named by addresses of the works' own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shape:
    """Event type, action (none for a transformation), step and disposition."""

    type: str
    action: str
    step: str
    disposition: str = ""


_MAKE = Shape("TransformationEvent", "", "creating_class_instance", "in_progress")

SHAPES = {
    "intake": Shape("ObjectEvent", "ADD", "commissioning", "in_progress"),
    "combine": _MAKE,
    "split": Shape("TransformationEvent", "", "repackaging", "in_progress"),
    "stage_started": Shape("ObjectEvent", "OBSERVE", "other", "in_progress"),
    "stage_finished": _MAKE,
    "reading": Shape("ObjectEvent", "OBSERVE", "sensor_reporting"),
    "sample": Shape("ObjectEvent", "OBSERVE", "sampling"),
    "result": Shape("ObjectEvent", "OBSERVE", "inspecting"),
    "hold": Shape("ObjectEvent", "OBSERVE", "holding", "non_sellable_other"),
    "release": Shape("ObjectEvent", "OBSERVE", "inspecting", "conformant"),
    "blend": _MAKE,
    "pack": Shape("TransformationEvent", "", "packing", "sellable_not_accessible"),
    "ship": Shape("ObjectEvent", "OBSERVE", "shipping", "in_transit"),
    "waste": Shape("ObjectEvent", "DELETE", "destroying", "disposed"),
    "count": Shape("ObjectEvent", "OBSERVE", "stock_taking"),
    "note": Shape("ObjectEvent", "OBSERVE", "other"),
    "site_work": Shape("ObjectEvent", "OBSERVE", "other"),
    "harvest": Shape("ObjectEvent", "ADD", "commissioning", "in_progress"),
    "cooling": Shape("ObjectEvent", "OBSERVE", "storing", "in_progress"),
    "grade": Shape("ObjectEvent", "OBSERVE", "inspecting", "in_progress"),
    "aggregate": Shape("AggregationEvent", "ADD", "packing", "in_progress"),
    "disaggregate": Shape("AggregationEvent", "DELETE", "unpacking", "in_progress"),
    "receive_back": Shape("TransformationEvent", "", "receiving", "returned"),
    "rework": Shape("TransformationEvent", "", "repackaging", "in_progress"),
    "destroy": Shape("ObjectEvent", "DELETE", "destroying", "destroyed"),
}
"""``limit_confirmed`` is missing on purpose: it speaks of no lot."""

# quantity of a reading -> sensor type, unit (UN/ECE Recommendation 20, from memory), factor
SENSORS = {
    "temperature_c": ("Temperature", "CEL", 1.0),
    "dry_bulb_c": ("Temperature", "CEL", 1.0),
    "wet_bulb_c": ("Temperature", "CEL", 1.0),
    "leaf_temperature_c": ("Temperature", "CEL", 1.0),
    "relative_humidity": ("RelativeHumidity", "P1", 100.0),
    "humidity_ratio": ("Dimensionless", "C62", 1.0),
    "mass_kg": ("Mass", "KGM", 1.0),
    "moisture_wb": ("Dimensionless", "P1", 100.0),
    "water_activity": ("Dimensionless", "C62", 1.0),
}
OTHER_SENSOR = ("Dimensionless", "C62", 1.0)
