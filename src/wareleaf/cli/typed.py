"""Numbers as people type them at the shell, with or without their unit."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import LARGEST, parse_mass_kg, parse_percent, parse_temperature_c

if TYPE_CHECKING:
    from wareleaf.works.controls import Control
    from wareleaf.works.settings import Equipment, Meter

MASS_HELP = "kg when no unit is given; g, lb and t are read too"
_HOURS = {"h": 1.0, "min": 1.0 / 60.0, "s": 1.0 / 3600.0}
_DAYS = {"": 1.0, "d": 1.0, "day": 1.0, "days": 1.0, "week": 7.0, "weeks": 7.0}
_ENDS = {"_h": "h", "minutes": "min", "_s": "s"}


def mass_kg(text: str | None, field: str) -> float | None:
    """Mass in kg, or None for nothing given."""
    return None if text is None else parse_mass_kg(text, field)


def fraction(text: str | None, field: str) -> float | None:
    """A percentage as a fraction, or None for nothing given."""
    return None if text is None else parse_percent(text, field)


def number(text: str, field: str) -> float:
    """A plain number, with decimal point or comma.

    Raises
    ------
    BadInput
        When it is not one.
    """
    try:
        found = float(text.strip().replace(",", "."))
    except ValueError:
        found = math.nan
    if not abs(found) <= LARGEST:
        raise BadInput(field, text, f"{field} is {text!r}; give a number.")
    return found


def days(text: str, field: str) -> float:
    """A number of days, such as ``14``, ``14 d`` or ``2 weeks``.

    Raises
    ------
    BadInput
        When it is not one.
    """
    match = re.fullmatch(r"([-+.,\d]+)\s*(\w*)", text.strip())
    if match is None or match.group(2) not in _DAYS:
        raise BadInput(field, text, f"{field} is {text!r}; give days, such as 14 or 2 weeks.")
    return number(match.group(1), field) * _DAYS[match.group(2)]


def lot_and_mass(text: str) -> tuple[str, float | None]:
    """``LOT`` for all that remains of it, or ``LOT=12.5 kg``."""
    lot_id, equals, mass = text.partition("=")
    if not lot_id.strip() or (equals and not mass.strip()):
        raise BadInput("lot", text, f"{text!r} is not a lot; give LOT or LOT=12.5, in kg.")
    return lot_id.strip(), parse_mass_kg(mass, lot_id) if equals else None


def lots_and_masses(texts: tuple[str, ...]) -> dict[str, float | None]:
    """Several of them; a lot may be named once.

    Raises
    ------
    BadInput
        For a lot named twice.
    """
    found: dict[str, float | None] = {}
    for text in texts:
        lot_id, mass = lot_and_mass(text)
        if lot_id in found:
            raise BadInput("lot", lot_id, f"{lot_id} is named twice; name each lot once.")
        found[lot_id] = mass
    return found


def lots_masses_and_packs(
    texts: tuple[str, ...],
) -> tuple[dict[str, float | None], dict[str, int]]:
    """The same where packed lots may be counted, as ``LOT=40 packs``: weights, and counts."""
    weighed, packs = [], {}
    for text in texts:
        match = re.fullmatch(r"([^=]+)=\s*(\d+)\s*packs?\s*", text)
        if match is None:
            weighed.append(text)
        elif match.group(1).strip() in packs:
            lot_id = match.group(1).strip()
            raise BadInput("lot", lot_id, f"{lot_id} is named twice; name each lot once.")
        else:
            packs[match.group(1).strip()] = int(match.group(2))
    return lots_and_masses(tuple(weighed)), packs


def metered(meter: Meter, text: str) -> float:
    """What a meter shows, in the unit of its quantity: percent, C or F, kg or g, or its own."""
    if meter.quantity == "colour_index":
        return number(text, meter.quantity)
    if meter.in_percent:
        return parse_percent(text, meter.quantity)
    if meter.quantity == "temperature_c":
        return parse_temperature_c(text, meter.quantity)
    if meter.quantity == "net_g":
        kilograms = parse_mass_kg(text if text.strip()[-1:].isalpha() else f"{text} g", "net_g")
        return kilograms * 1000.0
    return parse_mass_kg(text, meter.quantity)


def settings_of(machine: Equipment, pairs: tuple[str, ...]) -> dict[str, float]:
    """Settings from ``name=value`` pairs, in the unit of the name; moistures in percent.

    Raises
    ------
    BadInput
        For a pair that is none; the machine refuses names and ranges itself.
    """
    from wareleaf.works.controls import controls_of

    known = {c.name: c for c in controls_of(machine)}
    found = {}
    for pair in pairs:
        name, equals, text = pair.partition("=")
        if not equals:
            raise BadInput("set", pair, f"{pair!r} is not a setting; write name=value.")
        found[name.strip()] = _setting(known.get(name.strip()), name.strip(), text)
    return found


def _setting(control: Control | None, name: str, text: str) -> float:
    if control is None:  # the machine says which settings it has
        return number(text, name)
    if name.endswith("_wb"):
        return parse_percent(text, name)
    if name.endswith("_c"):
        return parse_temperature_c(text, name)
    own = next((u for end, u in _ENDS.items() if name.endswith(end)), "")
    given = text.strip().rpartition(" ")
    if own and given[2] in _HOURS:
        return number(given[0], name) * _HOURS[given[2]] / _HOURS[own]
    return number(text, name)
