"""What an operator can set on a machine, with its range and how people say it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wareleaf.measure.errors import BadInput
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class Control:
    """One setting.

    Parameters
    ----------
    name : str
        With its unit, as the stage model knows it.
    label, unit : str
        For people.
    low, high : float
        Accepted range, in the unit of the name.
    start : float
        Where it stands when nothing else is known.
    shown_per : float
        What one unit of ``name`` is in the unit for people (100 for a fraction in percent).
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    start: float
    shown_per: float = 1.0


CONTROLS: Mapping[str, tuple[Control, ...]] = {
    "wash": (),
    "blanch": (
        Control("temperature_c", "Bath temperature", "°C", 60.0, 98.0, 80.0),
        Control("immersion_s", "Time in the bath", "s", 10.0, 900.0, 120.0),
    ),
    "wither": (
        Control("target_moisture_wb", "Stop at moisture", "% wb", 0.50, 0.76, 0.68, 100.0),
        Control("heating_k", "Warm the air by", "K", 0.0, 12.0, 0.0),
    ),
    "roll": (Control("minutes", "Rolling time", "min", 5.0, 120.0, 40.0),),
    "oxidise": (
        Control("minutes", "Oxidation time", "min", 10.0, 300.0, 90.0),
        Control("air_c", "Room temperature", "°C", 15.0, 35.0, 25.0),
    ),
    "dry": (
        Control("residence_h", "Time in the dryer", "min", 0.05, 6.0, 1.5, 60.0),
        Control("inlet_shift_k", "Shift all inlet air by", "K", -30.0, 30.0, 0.0),
        Control("feed_kg_h", "Feed", "kg/h", 10.0, 3000.0, 200.0),
    ),
    "sift": (),
    "mill": (Control("product_um", "Grind to", "µm", 50.0, 10000.0, 3000.0),),
    "pack": (),
}


def controls_of(machine: Equipment) -> tuple[Control, ...]:
    """Settings of a machine, starting from the works' own defaults."""
    shown = []
    for control in CONTROLS[machine.stage]:
        start = machine.defaults.get(control.name, control.start)
        if control.name == "feed_kg_h" and "feed_kg_h" not in machine.defaults:
            start = machine.rate_kg_h or control.start
        shown.append(
            Control(
                control.name,
                control.label,
                control.unit,
                control.low,
                control.high,
                start,
                control.shown_per,
            )
        )
    return tuple(shown)


def full_settings(machine: Equipment, given: Mapping[str, float]) -> dict[str, float]:
    """All settings of a run: what was given, and the start value of the rest.

    Raises
    ------
    BadInput
        For a setting the machine does not have, or a value out of its range.
    """
    known = {c.name: c for c in controls_of(machine)}
    for name, value in given.items():
        control = known.get(name)
        if control is None:
            raise BadInput(
                name,
                value,
                f"{machine.name} has no setting {name}; it has: {', '.join(known) or 'none'}.",
            )
        if not control.low <= value <= control.high:
            low, high = control.low * control.shown_per, control.high * control.shown_per
            raise BadInput(
                name,
                value,
                f"{control.label} is {value * control.shown_per:g} {control.unit}; "
                f"it must be from {low:g} to {high:g} {control.unit}.",
            )
    return {c.name: float(given.get(c.name, c.start)) for c in known.values()}
