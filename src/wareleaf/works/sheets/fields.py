"""What a row of each kind of sheet may say, and which of it is needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

SETTING = "set_"
"""Prefix of a machine's settings in a stage sheet: ``set_temperature_c`` and so on."""

TEXT, LIST, MASS, PERCENT, WARMTH, TIME, NUMBER, SHOWN = (
    "text",
    "list",
    "mass",
    "percent",
    "warmth",
    "time",
    "number",
    "shown",  # as a meter shows it; its unit depends on the meter
)


@dataclass(frozen=True)
class Field:
    """One thing a row may say.

    Parameters
    ----------
    kind : str
        How a cell of it is read.
    needed : bool
        A row without it is refused.
    meaning : str
        For people; the look-up page shows it.
    """

    kind: str
    needed: bool
    meaning: str


_WHO = Field(TEXT, False, "person id; the sheet's `who` or the importer when left out")
_NOTE = Field(TEXT, False, "anything worth remembering")
_PAPER = Field(TEXT, False, "number of the paper")

FIELDS: Mapping[str, Mapping[str, Field]] = {
    "intake": {
        "lot": Field(TEXT, True, "the works' own number of the load"),
        "source": Field(TEXT, True, "line or field"),
        "arrived_at": Field(TIME, True, "when it came"),
        "gross_kg": Field(MASS, True, "full weight"),
        "tare_kg": Field(MASS, False, "empty weight; 0 when left out"),
        "scale": Field(TEXT, True, "meter id"),
        "moisture_wb": Field(PERCENT, False, "measured moisture"),
        "moisture_meter": Field(TEXT, False, "meter id"),
        "surface_water_kg": Field(MASS, False, "rain or sea water on it"),
        "ticket_kg": Field(MASS, False, "weight on the grower's ticket"),
        "cut_at": Field(TIME, False, "when it was cut or plucked"),
        "temperature_c": Field(WARMTH, False, "of the leaf"),
        "document": _PAPER,
        "note": _NOTE,
        "who": _WHO,
    },
    "stage": {
        "equipment": Field(TEXT, True, "machine id"),
        "lots": Field(LIST, True, "lots put on, with + between them"),
        "start_at": Field(TIME, True, "when they went on"),
        "end_at": Field(TIME, True, "when they came off"),
        "lot": Field(TEXT, True, "the works' own number of what came off"),
        "mass_kg": Field(MASS, True, "weight of what came off"),
        "moisture_wb": Field(PERCENT, True, "its moisture"),
        "scale": Field(TEXT, True, "meter id"),
        "moisture_meter": Field(TEXT, True, "meter id"),
        "form": Field(TEXT, False, "when not the stage's usual one"),
        "grade": Field(TEXT, False, "grade of a sifter's lot"),
        "place": Field(TEXT, False, "where it went"),
        "leached_kg": Field(MASS, False, "dry matter that a bath took; predicted when left out"),
        "note": _NOTE,
        "who": _WHO,
    },
    "reading": {
        "lot": Field(TEXT, False, "lot that was measured; or the machine it was on"),
        "equipment": Field(TEXT, False, "machine id; the run at that time is meant"),
        "at": Field(TIME, True, "when it was read"),
        "meter": Field(TEXT, True, "meter id"),
        "value": Field(SHOWN, True, "as the meter shows it"),
        "reference": Field(SHOWN, False, "what the oven found on the same leaf"),
        "note": _NOTE,
        "who": _WHO,
    },
    "result": {
        "lot": Field(TEXT, True, "lot that was sampled"),
        "sample": Field(TEXT, True, "number of the sample"),
        "at": Field(TIME, True, "date of the report"),
        "parameter": Field(TEXT, True, "moisture, cadmium, iodine..."),
        "value": Field(NUMBER, True, "result; '<0.05' is read as below quantification"),
        "uncertainty": Field(NUMBER, False, "standard uncertainty (k = 1)"),
        "expanded_uncertainty": Field(NUMBER, False, "expanded (k = 2); halved"),
        "unit": Field(TEXT, True, "of value and uncertainty"),
        "basis": Field(TEXT, True, "wet, dry or hydrated"),
        "moisture_wb": Field(PERCENT, False, "of the sample as analysed"),
        "method": Field(TEXT, False, "how"),
        "laboratory": Field(TEXT, False, "by whom"),
        "document": _PAPER,
        "who": _WHO,
    },
    "shipment": {
        "lot": Field(TEXT, True, "lot that left"),
        "customer": Field(TEXT, True, "customer id"),
        "at": Field(TIME, True, "when it left"),
        "mass_kg": Field(MASS, False, "how much; all that remained when left out"),
        "vehicle": Field(TEXT, False, "what carried it"),
        "document": _PAPER,
        "released_by": Field(TEXT, False, "quality manager who had released it on paper"),
        "release_document": Field(TEXT, False, "number of that paper"),
        "note": _NOTE,
        "who": _WHO,
    },
}
JOBS = tuple(FIELDS)

UNITS: Mapping[str, tuple[str, ...]] = {
    MASS: ("kg", "g", "lb", "t"),
    PERCENT: ("%", "fraction"),
    WARMTH: ("C", "F"),
    SHOWN: ("kg", "g", "lb", "t", "%", "fraction", "C", "F"),
}
"""Units a column may be in, by kind; the first is taken when none is said."""


def field_of(job: str, name: str) -> Field | None:
    """A field of a job; a machine's setting is read by what its name ends with."""
    if job == "stage" and name.startswith(SETTING):
        kind = PERCENT if name.endswith("_wb") else WARMTH if name.endswith("_c") else NUMBER
        return Field(kind, False, "setting of the machine")
    return FIELDS[job].get(name)
