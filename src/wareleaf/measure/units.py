"""Units at the edge: what people type becomes kg, degrees C and fractions, once.

The core never sees a unit string. pint does the parsing; it is loaded on first use because it
is slow to start.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from wareleaf.measure.errors import BadInput

_TEMPERATURE = {
    "c": "degC",
    "degc": "degC",
    "°c": "degC",
    "f": "degF",
    "degf": "degF",
    "°f": "degF",
}
LARGEST = 1e12
"""Beyond this a number is a slip of the keys, and grams would not be exact (our own choice)."""

_MASS = {"kg": "kg", "g": "g", "lb": "lb", "lbs": "lb", "t": "metric_ton"}


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def _split(field: str, text: str, default: str) -> tuple[float, str]:
    match = re.fullmatch(
        r"\s*([-+]?(?:[0-9][0-9\s]*(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][-+]?\d+)?)\s*(\S*)\s*", text
    )
    if not match:
        raise BadInput(field, text, f"{field} is {text!r}; give a number, with a unit if you like.")
    number = float("".join(match.group(1).split()).replace(",", "."))
    if not abs(number) <= LARGEST:
        raise BadInput(field, text, f"{field} is {text!r}; that is too large to be meant.")
    return number, match.group(2) or default


def parse_mass_kg(text: str, field: str = "mass_kg") -> float:
    """Mass in kg from text such as ``12.5``, ``12,5 kg``, ``900 g`` or ``40 lb``."""
    number, unit = _split(field, text, "kg")
    if unit.lower() not in _MASS:
        raise BadInput(field, text, f"{field} is {text!r}; the unit must be kg, g, lb or t.")
    quantity = _registry().Quantity(number, _MASS[unit.lower()])
    return float(quantity.to("kg").magnitude)


def parse_temperature_c(text: str, field: str = "temperature_c") -> float:
    """Temperature in degrees C from text such as ``18.5``, ``18.5 C`` or ``65 F``."""
    number, unit = _split(field, text, "C")
    if unit.lower() not in _TEMPERATURE:
        raise BadInput(field, text, f"{field} is {text!r}; the unit must be C or F.")
    quantity = _registry().Quantity(number, _TEMPERATURE[unit.lower()])
    return float(quantity.to("degC").magnitude)


def parse_percent(text: str, field: str) -> float:
    """Fraction from a percentage as people write it: ``12.5`` or ``12.5 %`` is 0.125."""
    number, unit = _split(field, text, "%")
    if unit != "%":
        raise BadInput(field, text, f"{field} is {text!r}; give it in percent, like 12.5 %.")
    return number / 100.0
