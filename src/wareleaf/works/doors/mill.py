"""Dry leaf through a mill: work, warmth, dust, and the fastest feed or finest powder."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class MachineIn(DoorInput):
    """The mill and its air."""

    motor_kw: float = Field(15.0, gt=0.0)
    idle_kw: float = Field(2.0, ge=0.0)
    law: Literal["bond", "rittinger", "kick"] = "bond"
    constant: float | None = Field(
        None, gt=0.0, description="Work index kWh/t, or Rittinger's kJ um/kg, or Kick's kJ/kg."
    )
    air_kg_h: float = Field(1500.0, gt=0.0)
    loss_w_k: float = Field(20.0, ge=0.0)
    motor_efficiency: float = Field(0.9, gt=0.0, le=1.0)
    dust_lift: float = Field(0.05, ge=0.0, le=1.0)
    filter_efficiency: float = Field(0.99, ge=0.0, le=1.0)


class Input(DoorInput):
    """Dry leaf and the mill; with vary a limit is sought."""

    leaf: str = Field(description="Leaf profile id.")
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(ge=0.0, lt=1.0)
    feed_um: float = Field(5000.0, gt=0.0, description="80 % passing size of the feed.")
    product_um: float = Field(500.0, gt=0.0, description="80 % passing size of the product.")
    feed_kg_h: float = Field(150.0, gt=0.0)
    leaf_temperature_c: float = 20.0
    dry_bulb_c: float = 20.0
    relative_humidity: float = Field(0.5, ge=0.0, le=1.0)
    size_exponent: float = Field(1.2, gt=0.0)
    mill: MachineIn = Field(default_factory=lambda: MachineIn.model_validate({}))
    vary: Literal["feed_kg_h", "product_um"] | None = Field(
        None, description="Find the fastest feed or the finest product within the limits."
    )
    leaf_temperature_max_c: float | None = None


class Output(DoorOutput):
    """Work, warmth and dust."""

    feed_kg_h: float
    product_um: float
    reachable: bool | None = None
    reason: str | None = None
    duration_h: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    electricity_kwh: float
    work_kj_kg: float
    shaft_kw: float
    motor_load: float
    leaf_temperature_max_c: float
    fines_share: float
    filter_kg: float
    escaped_kg: float
    dust_g_m3: float
    water_residual: float
    energy_residual: float
    mass_residual: float


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import mill

    machine = mill.Mill(**data.mill.model_dump())
    load = mill.MillRun(
        leaf_id=data.leaf,
        **data.model_dump(exclude={"leaf", "mill", "vary", "leaf_temperature_max_c"}),
    )
    settings = {"feed_kg_h": load.feed_kg_h, "product_um": load.product_um}
    reachable = reason = None
    if data.vary is None:
        result = mill.simulate(machine, load)
    else:
        found = mill.aim(
            machine, load, vary=data.vary, leaf_temperature_max_c=data.leaf_temperature_max_c
        )
        result, settings = found.result, found.settings
        reachable, reason = found.reachable, found.reason
    same = set(Output.model_fields) - {"feed_kg_h", "product_um", "reachable", "reason"}
    fields: dict[str, Any] = {name: getattr(result, name) for name in same}
    return Output(reachable=reachable, reason=reason, **(fields | settings))
