"""A load that waits: its warmth, the value left, and the latest start of the next stage."""

from __future__ import annotations

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """The load, where it waits, and the temperature around it."""

    leaf: str = Field(description="Leaf profile id.")
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(ge=0.0, lt=1.0)
    hours: float = Field(4.0, gt=0.0, description="How long it waits.")
    leaf_temperature_c: float = 12.0
    surroundings_c: list[float] = Field(
        [15.0], min_length=1, description="At 0, 1, 2 ... hours; the last one holds on."
    )
    respiration_w_kg_20c: float = Field(0.05, ge=0.0)
    hold_used: float = Field(0.0, ge=0.0, description="Share of its holding time already used.")
    spoil_used: float = Field(0.0, ge=0.0)
    loss_w_kg_k: float = Field(0.5, ge=0.0, description="Heat exchange per kg leaf and kelvin.")
    evaporation_fraction_h: float = Field(0.0, ge=0.0)
    drip_fraction_h: float = Field(0.0, ge=0.0)
    in_seawater: bool = False
    value_min: float = Field(1.0, ge=0.0, le=1.0, description="Least value for the latest start.")


class Output(DoorOutput):
    """State after the wait; times are from now, null when beyond the time looked at (30 days)."""

    latest_start_h: float | None
    lost_h: float | None
    reason: str
    mass_out_kg: float
    dry_matter_kg: float
    dry_matter_lost_kg: float
    moisture_wb_out: float
    water_removed_kg: float
    leaf_temperature_out_c: float
    leaf_temperature_max_c: float
    hold_used: float
    spoil_used: float
    value_left: float
    water_residual: float
    energy_residual: float
    course_time_h: list[float]
    course_leaf_c: list[float]
    course_value_left: list[float]


_PLACE = ("loss_w_kg_k", "evaporation_fraction_h", "drip_fraction_h", "in_seawater")
_LOAD = (
    "mass_kg",
    "moisture_wb",
    "hours",
    "leaf_temperature_c",
    "respiration_w_kg_20c",
    "hold_used",
    "spoil_used",
)


def _known(value: float) -> float | None:
    return value if abs(value) < float("inf") else None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import hold

    place = hold.Place(**{name: getattr(data, name) for name in _PLACE})
    load = hold.HoldRun(
        leaf_id=data.leaf,
        surroundings_c=tuple(data.surroundings_c),
        **{name: getattr(data, name) for name in _LOAD},
    )
    found = hold.aim(place, load, value_min=data.value_min)
    result = hold.simulate(place, load)
    same = set(Output.model_fields) - {"latest_start_h", "lost_h", "reason"}
    return Output(
        latest_start_h=_known(found.settings["latest_start_h"]),
        lost_h=_known(found.settings["lost_h"]),
        reason=found.reason,
        **{name: getattr(result, name) for name in same},
    )
