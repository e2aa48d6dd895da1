"""What a prediction of a run says, whatever the stage, and what it is made from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from wareleaf.leaf.learned import LOG_RATES
from wareleaf.stages.common import Array, Projection, StageReading
from wareleaf.works.charge import Charge, charge_that_went_on
from wareleaf.works.controls import full_settings
from wareleaf.works.house import Works
from wareleaf.works.runs_done import Done
from wareleaf.works.settings import Equipment

# Own words of the works for what a stage makes of leaf.
OUT_FORM: Mapping[str, str] = {
    "wash": "washed",
    "blanch": "blanched",
    "wither": "withered",
    "roll": "rolled",
    "oxidise": "oxidised",
    "dry": "dried",
    "sift": "graded",
    "mill": "flake",
    "pack": "packed",
}


NODES: Array = np.linspace(LOG_RATES[0], LOG_RATES[-1], 13)
"""Rates for which the model of a finished run is run, natural logarithm of a multiplier."""


@dataclass(frozen=True)
class OwnRate:
    """The works' own rate of a leaf on a machine over its profile's, learned from earlier runs.

    Parameters
    ----------
    runs : int
        That told.
    log_mean, log_sd : float
        Natural logarithm of the multiplier: the mean over lots, and how sure that is.
    lot_log_sd : float
        From lot to lot.
    """

    runs: int
    log_mean: float
    log_sd: float
    lot_log_sd: float

    @property
    def multiplier(self) -> float:
        """Over the profile's rate."""
        return math.exp(self.log_mean)

    @property
    def relative_sd(self) -> float:
        """Of the next lot's rate: lots about the mean, and the mean's own doubt."""
        return math.sqrt(math.expm1(self.lot_log_sd**2 + self.log_sd**2))

    @property
    def source(self) -> str:
        """For people."""
        return f"Rate from {self.runs} own runs: {self.multiplier:.2f} times the leaf profile's."


@dataclass(frozen=True)
class Ask:
    """Everything a stage's prediction may look at.

    ``rate`` is None for the profile's own, ``pace`` for the hours as set; ``lots`` is the dry
    matter of each lot that goes on, empty for leaf that is not in the book yet. Without ``advise``
    nobody reads the advice, and what takes long (better settings for a dryer) is left out.
    """

    works: Works
    machine: Equipment
    charge: Charge
    settings: Mapping[str, float]
    start: datetime
    readings: Sequence[StageReading] = ()
    rate: OwnRate | None = None
    pace: OwnRate | None = None
    lots: Mapping[str, float] = field(default_factory=dict)
    advise: bool = True


def asked_again(works: Works, machine: Equipment, done: Done) -> Ask:
    """What a forecast of a finished run would look at, with nothing learned or read since.

    Raises
    ------
    BadInput
        For settings that the machine no longer takes.
    """
    return Ask(
        works=works,
        machine=machine,
        charge=charge_that_went_on(done.end, done.lots, done.started_at),
        settings=full_settings(machine, done.settings),
        start=done.started_at,
    )


@dataclass(frozen=True)
class Prediction:
    """What a run will give, with its doubt.

    Parameters
    ----------
    duration_h, duration_sd_h : float
        From start to all leaf off, and one standard deviation.
    mass_out_kg, moisture_wb_out, moisture_wb_out_sd : float
        What comes off.
    moisture_wb_now, moisture_wb_now_sd : float
        Best estimate at the last reading, or at the start.
    leached_dry_kg : float
        Dry matter that a bath takes.
    heat_kwh, electricity_kwh, fuel_kg : float
        What it costs to run.
    leaf_temperature_max_c : float or None
        Hottest leaf; None where heat plays no part.
    curve_time_h, curve_moisture_wb, curve_low, curve_high : tuple of float
        Course of moisture with its 95 % band; empty where there is none.
    theaflavin_course : tuple of (float, float, float)
        On an oxidation floor: minutes, theaflavin of infusion solids, one standard deviation.
    advice : str
        One sentence for the operator.
    detail : mapping
        Numbers of this stage alone, names with units.
    warnings, sources : tuple of str
        From the stage model.
    """

    duration_h: float
    duration_sd_h: float
    mass_out_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    moisture_wb_now: float
    moisture_wb_now_sd: float
    leached_dry_kg: float = 0.0
    heat_kwh: float = 0.0
    electricity_kwh: float = 0.0
    fuel_kg: float = 0.0
    leaf_temperature_max_c: float | None = None
    curve_time_h: tuple[float, ...] = ()
    curve_moisture_wb: tuple[float, ...] = ()
    curve_low: tuple[float, ...] = ()
    curve_high: tuple[float, ...] = ()
    theaflavin_course: tuple[tuple[float, float, float], ...] = ()
    advice: str = ""
    detail: Mapping[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()


def air_at(ask: Ask, hours: int) -> tuple[list[float], list[float], list[float]]:
    """Ambient air by the hour from the start: dry bulb degC, relative humidity, pressure Pa.

    The station's year is laid on the works' own clock: noon is noon.
    """
    from wareleaf.works.weather import window

    wall = ask.start.astimezone(ask.works.settings.zone).replace(tzinfo=None)
    air = window(ask.works.weather(ask.machine.site), wall, hours)
    return air.dry_bulb_c.tolist(), air.relative_humidity.tolist(), air.pressure_pa.tolist()


def unchanged(ask: Ask, hours: float, advice: str) -> Prediction:
    """Leaf that comes off as it went on, after so many hours (10 % of doubt, our own choice)."""
    charge = ask.charge
    return Prediction(
        duration_h=hours,
        duration_sd_h=0.1 * hours,
        mass_out_kg=charge.mass_kg,
        moisture_wb_out=charge.moisture_wb,
        moisture_wb_out_sd=charge.moisture_sd,
        moisture_wb_now=charge.moisture_wb,
        moisture_wb_now_sd=charge.moisture_sd,
        advice=advice,
    )


def corrected(told: Prediction, seen: Projection, said: str = "") -> Prediction:
    """A prediction with the moisture that readings on the run taught; dry matter stays.

    ``said`` is for the operator, behind the advice there is and the projection's own note.
    """
    out, low, high = (
        float(np.interp(told.duration_h, seen.curve_time_h, curve))
        for curve in (seen.curve_moisture_wb, seen.curve_low, seen.curve_high)
    )
    return replace(
        told,
        mass_out_kg=told.mass_out_kg * (1.0 - told.moisture_wb_out) / (1.0 - out),
        moisture_wb_out=out,
        moisture_wb_out_sd=(high - low) / (2.0 * 1.96),
        moisture_wb_now=seen.moisture_wb_now,
        moisture_wb_now_sd=seen.moisture_wb_now_sd,
        advice=" ".join(filter(None, [told.advice, seen.note, said])),
    )


SHOWN_AS: Mapping[str, str] = {
    "relative_humidity": "Air humidity",
    "temperature_c": "Temperature",
    "mass_kg": "Weight",
    "moisture_wb": "Moisture",
    "net_g": "Net weight",
    "theaflavin_fraction": "Theaflavin",
    "colour_index": "Colour",
}


def readings_as(ask: Ask, names: Mapping[str, str]) -> tuple[tuple[StageReading, ...], str]:
    """Readings under the names of the stage's model, and a sentence on those it has no use for.

    Parameters
    ----------
    ask : Ask
        With the readings so far, quantities as the meters name them.
    names : mapping of str to str
        The model's name for each quantity that it reads.
    """
    used = tuple(
        replace(r, quantity=names[r.quantity]) for r in ask.readings if r.quantity in names
    )
    left = dict.fromkeys(r.quantity for r in ask.readings if r.quantity not in names)
    what = ", ".join(SHOWN_AS.get(q, q) for q in left)
    return used, f"{what}: kept, but it does not move this forecast." if left else ""
