"""How numbers, times, names and states are written for people; every filter of the templates."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from wareleaf import leaf as leaves
from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput
from wareleaf.works.record import moisture_sd
from wareleaf.works.settings import Meter

# The works' names of fields, as people say them.
WORDS = {
    "gross_kg": "Full weight",
    "tare_kg": "Empty weight",
    "ticket_kg": "Weight on the ticket",
    "surface_water_kg": "Surface water",
    "moisture_wb": "Moisture",
    "moisture_meter": "Moisture meter",
    "mass_kg": "Weight",
    "masses_kg": "Weight of a part",
    "mass_g": "Weight of the sample",
    "cut_at": "Time it was cut",
    "happened_at": "Time",
    "lot_ids": "Lots",
    "lot_id": "Lot",
    "run_id": "Run",
    "temperature_c": "Temperature",
    "relative_humidity": "Relative humidity",
    "net_g": "Net weight",
    "theaflavin_fraction": "Theaflavin",
    "colour_index": "Colour",
    "reason": "Reason",
    "meter": "Meter",
    "scale": "Scale",
    "source": "Line or field",
    "equipment": "Machine",
}
# Names with an underscore are replaced wherever they stand, plain ones only as the subject.
_WORD = re.compile(
    r"\b(" + "|".join(sorted((w for w in WORDS if "_" in w), key=len, reverse=True)) + r")\b"
    r"|^(" + "|".join(w for w in WORDS if "_" not in w) + r")(?= (?:is|must)\b)"
)
_UNITS = (("+-", "±"), ("degC", "°C"), ("kg/m2", "kg/m²"), ("kg/m3", "kg/m³"))


def for_people(message: str) -> str:
    """A sentence of the works with its field names in the words of the page."""
    said = _WORD.sub(lambda m: WORDS[m.group(0)], message)
    for plain_unit, unit in _UNITS:
        said = said.replace(plain_unit, unit)
    return said[:1].upper() + said[1:]


def kg(grams: float | None) -> str:
    """Grams as kilograms for people: 3 figures that matter."""
    if grams is None:
        return "–"
    return kilos(grams / 1000.0)


def kilos(mass_kg: float | None) -> str:
    """Kilograms for people."""
    if mass_kg is None or not math.isfinite(mass_kg):
        return "–"
    if mass_kg == 0.0:
        return "0 kg"
    if abs(mass_kg) >= 100.0:
        return f"{mass_kg:,.0f} kg".replace(",", " ")
    if abs(mass_kg) >= 10.0:
        return f"{mass_kg:.1f} kg"
    return f"{mass_kg:.2f} kg"


def percent(fraction: float | None, digits: int = 1) -> str:
    """A fraction as percent."""
    if fraction is None or not math.isfinite(fraction):
        return "–"
    return f"{fraction * 100:.{digits}f} %"


def clock(at: datetime | None, now: datetime | None = None) -> str:
    """Time of day; with the weekday when it is not today."""
    if at is None:
        return "–"
    if now is not None:
        at = at.astimezone(now.tzinfo)
        if at.date() != now.date():
            return f"{at:%a %d %b %H:%M}"
    return f"{at:%H:%M}"


def day_word(at: datetime, now: datetime) -> str:
    """The day of a time where it is not today: tomorrow, Thu 14 May."""
    days = (at.astimezone(now.tzinfo).date() - now.date()).days
    near = {-1: "yesterday", 0: "", 1: "tomorrow"}
    return near[days] if days in near else f"{at.astimezone(now.tzinfo):%a %d %b}"


def hour_of(at: datetime, now: datetime) -> str:
    """Time of day alone, on the works' clock."""
    return f"{at.astimezone(now.tzinfo):%H:%M}"


def hours(value: float | timedelta | None) -> str:
    """A length of time for people: 45 min, 3 h 20 min."""
    if value is None:
        return "–"
    total = value.total_seconds() / 3600.0 if isinstance(value, timedelta) else value
    if not math.isfinite(total):
        return "–"
    minutes = round(abs(total) * 60.0)
    sign = "-" if total < 0 and minutes else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    if minutes < 48 * 60:
        return f"{sign}{minutes // 60} h {minutes % 60:02d} min"
    return f"{sign}{minutes / 1440:.1f} days"


def doubt(fraction_sd: float | None) -> str:
    """Half-width of the 95 % band of a fraction: ± 1.2 %."""
    if fraction_sd is None or not math.isfinite(fraction_sd):
        return ""
    return f"± {fraction_sd * 196.0:.1f} %"


def with_doubt(value: float, sd: float) -> str:
    """A value with its 95 % half-width, both cut where the second figure of the doubt stands."""
    half = 1.96 * sd
    if not half > 0.0 or not math.isfinite(half):
        return f"{value:.4g}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    return f"{value:.{digits}f} ± {half:.{digits}f}"


def moisture_doubt(lot: LotState) -> str:
    """Half-width of the 95 % band of a lot's moisture."""
    return doubt(moisture_sd(lot))


def number(value: float | None, digits: int = 1) -> str:
    """A plain number with thin groups of thousands."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:,.{digits}f}".replace(",", " ")


def typed(value: float | None) -> str:
    """A number as it stands in an entry field: no needless zeros."""
    return "" if value is None else f"{value:.6g}"


def leaf_name(leaf_id: str) -> str:
    """What people call a leaf."""
    try:
        return leaves.profile(leaf_id).name
    except BadInput:
        return leaf_id


# State as a word, and the tint that helps it.
STATES = {
    "open": ("in stock", ""),
    "on_stage": ("on a machine", "due"),
    "held": ("on hold", "stop"),
    "released": ("released", "good"),
    "used": ("used up", ""),
    "shipped": ("shipped", ""),
    "late": ("late", "stop"),
    "soon": ("soon", "due"),
    "later": ("later", ""),
}


def state(word: str) -> tuple[str, str]:
    """The word that is shown for a state, and its tint."""
    return STATES.get(word, (word.replace("_", " "), ""))


# What happened, as people say it; stages are followed by the machine's name.
HAPPENED = {
    "intake": "taken in",
    "stage_started": "put on",
    "stage_finished": "off",
    "pack": "packed",
    "ship": "shipped",
    "waste": "written off",
    "hold": "put on hold",
    "release": "freed or released",
    "sample": "sample taken",
    "combine": "combined",
    "blend": "blended",
    "count": "counted",
    "grade": "graded",
    "cooling": "cooled",
    "aggregate": "put on a pallet",
    "disaggregate": "taken off a pallet",
    "receive_back": "came back",
    "rework": "reworked",
    "destroy": "destroyed",
    "site_work": "site work",
    "harvest": "cut",
}


def happened(kind: str) -> str:
    """A kind of event in words."""
    return HAPPENED.get(kind, kind.replace("_", " "))


def pairs(values: Sequence[str]) -> list[tuple[str, str]]:
    """Options of a list whose values are their own words."""
    return [(v, v) for v in values]


def leaf_pairs(values: Sequence[str]) -> list[tuple[str, str]]:
    """Options of a list of leaf profiles."""
    return [(v, leaf_name(v)) for v in values]


def state_pairs(values: Sequence[str]) -> list[tuple[str, str]]:
    """Options of a list of states."""
    return [(v, state(v)[0]) for v in values]


def meter_pairs(meters: Sequence[Meter]) -> list[tuple[str, str]]:
    """Options of a list of meters."""
    return [(m.id, m.name.replace("degC", "°C")) for m in meters]


def meter_options(meters: Sequence[Meter]) -> list[tuple[str, str, str]]:
    """Meters as big buttons, with the unit they read in."""
    return [(m.id, m.name.replace("degC", "°C"), _READS_IN.get(m.quantity, "°C")) for m in meters]


_READS_IN = {
    "moisture_wb": "% moisture",
    "relative_humidity": "% humidity",
    "mass_kg": "kg",
    "theaflavin_fraction": "% of solids",
    "colour_index": "its own index",
}


def lot_options(lots: Sequence[LotState]) -> list[tuple[str, str, str]]:
    """Lots as big buttons."""
    return [
        (
            lot.lot_id,
            lot.lot_id,
            f"{kg(lot.remaining_mass_g)}, {percent(lot.moisture_wb)}, {lot.place}",
        )
        for lot in lots
    ]


FILTERS: tuple[Callable[..., Any], ...] = (
    kg,
    kilos,
    percent,
    clock,
    day_word,
    hour_of,
    happened,
    hours,
    doubt,
    with_doubt,
    moisture_doubt,
    number,
    typed,
    leaf_name,
    state,
    for_people,
    pairs,
    leaf_pairs,
    state_pairs,
    meter_pairs,
    meter_options,
    lot_options,
)
