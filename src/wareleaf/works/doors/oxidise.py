"""Leaf on the oxidation floor: theaflavin over time, the best minutes and their window."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """Rolled leaf, the floor's air, and the minutes; without minutes the best are found."""

    leaf: str = Field("tea_black", description="Leaf profile id.")
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(ge=0.0, lt=1.0)
    minutes: float | None = Field(None, gt=0.0, le=1440.0)
    cut: Literal["orthodox_fine", "orthodox_coarse", "ctc"] = "orthodox_fine"
    disruption: float = Field(1.0, gt=0.0, description="Broken cells against a normal roll.")
    leaf_temperature_c: float = 26.0
    catechins_mg_g: float = Field(137.5, ge=0.0)
    rate_factor: float = Field(1.0, gt=0.0, description="From your own trial (fit-trial).")
    theaflavin_factor: float = Field(1.0, gt=0.0, description="From your own trial.")
    loss_ratio: float | None = Field(None, gt=0.0, description="From your own trial.")
    formation_activation_j_mol: float | None = Field(None, description="From your own trial.")
    loss_activation_j_mol: float | None = Field(None, description="From your own trial.")
    dry_bulb_c: float = 24.0
    relative_humidity: float = Field(0.96, ge=0.0, le=1.0)
    air_kg_h_kg: float = Field(3.0, ge=0.0, description="Dry air, kg per hour per kg leaf.")
    effectiveness: float = Field(0.7, ge=0.0, le=1.0)
    oxygen_factor: float = Field(1.0, gt=0.0)
    fan_kw: float = Field(1.5, ge=0.0)
    leaf_temperature_max_c: float | None = Field(None, description="Limit for the best minutes.")


class Output(DoorOutput):
    """Theaflavin as a fraction of infusion solids, and the leaf's course."""

    minutes: float
    air_kg_h_kg: float
    reachable: bool | None = None
    reason: str | None = None
    duration_h: float
    mass_out_kg: float
    moisture_wb_out: float
    water_removed_kg: float
    electricity_kwh: float
    leaf_temperature_max_c: float
    theaflavin_fraction: float
    theaflavin_fraction_sd: float
    oxidised_share: float
    peak_min: float | None
    peak_sd_min: float | None
    window_from_min: float | None
    window_to_min: float | None
    water_residual: float
    energy_residual: float
    course_min: list[float]
    course_theaflavin: list[float]
    course_leaf_c: list[float]


_FLOOR = (
    "dry_bulb_c",
    "relative_humidity",
    "air_kg_h_kg",
    "effectiveness",
    "oxygen_factor",
    "fan_kw",
)
_LEAF = (
    "mass_kg",
    "moisture_wb",
    "cut",
    "disruption",
    "leaf_temperature_c",
    "catechins_mg_g",
    "rate_factor",
    "theaflavin_factor",
)
_OWN = ("loss_ratio", "formation_activation_j_mol", "loss_activation_j_mol")
_SAME = (
    "duration_h",
    "mass_out_kg",
    "moisture_wb_out",
    "water_removed_kg",
    "electricity_kwh",
    "leaf_temperature_max_c",
    "theaflavin_fraction",
    "theaflavin_fraction_sd",
    "oxidised_share",
    "water_residual",
    "energy_residual",
    "course_min",
    "course_theaflavin",
    "course_leaf_c",
    "sources",
    "warnings",
)


def _known(value: float) -> float | None:
    return value if abs(value) < float("inf") else None


def run(data: Input) -> Output:
    """Compute the door."""
    from dataclasses import replace

    from wareleaf.stages import oxidise

    floor = oxidise.Floor(**{name: getattr(data, name) for name in _FLOOR})
    batch = oxidise.OxidiseRun(
        leaf_id=data.leaf,
        minutes=data.minutes or 60.0,
        **{name: getattr(data, name) for name in _LEAF},
    )
    own = data.model_dump(include=set(_OWN), exclude_none=True)
    batch = replace(batch, **own)
    minutes, air = batch.minutes, floor.air_kg_h_kg
    reachable = reason = None
    if data.minutes is None:
        found = oxidise.aim(floor, batch, leaf_temperature_max_c=data.leaf_temperature_max_c)
        minutes, air = found.settings["minutes"], found.settings["air_kg_h_kg"]
        reachable, reason = found.reachable, found.reason
    aired = replace(floor, air_kg_h_kg=air)
    result = oxidise.simulate(aired, replace(batch, minutes=minutes))
    # The peak lies at the end of an aimed run; look past it for the window.
    ahead = oxidise.simulate(aired, replace(batch, minutes=min(1440.0, 3.0 * minutes)))
    return Output(
        minutes=minutes,
        air_kg_h_kg=air,
        reachable=reachable,
        reason=reason,
        peak_min=_known(ahead.peak_min),
        peak_sd_min=_known(ahead.peak_sd_min),
        window_from_min=_known(ahead.window_min[0]),
        window_to_min=_known(ahead.window_min[1]),
        **{name: getattr(result, name) for name in _SAME},
    )
