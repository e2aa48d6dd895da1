"""Trucks of trays through a tunnel, with the air or against it: what comes out, what to set."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._dryers import FanIn, HeaterIn, RunIn, SupplyOut, heat_and_air, run_of


class TunnelIn(DoorInput):
    """The machine."""

    tray_area_m2: float = Field(gt=0.0, description="Of all trays in the tunnel, m2.")
    free_area_m2: float = Field(gt=0.0, description="Cross section left to the air, m2.")
    inlet_c: float = Field(ge=0.0, le=150.0, description="Air where it enters the tunnel, degC.")
    velocity_m_s: float = Field(gt=0.0, le=20.0, description="Of that air between the trays, m/s.")
    flow: Literal["counter", "co"] = Field(
        "counter", description="Air against the trucks, or with them."
    )
    recirculated: float = Field(0.0, ge=0.0, le=0.98, description="Part of the air returned.")
    trucks: int | None = Field(None, ge=1, le=200, description="In the tunnel at a time.")
    sides: float | None = Field(
        None, gt=0.0, le=2.0, description="Faces of the layer that air reaches: 1 to 2."
    )
    heater: HeaterIn = Field(default_factory=lambda: HeaterIn.model_validate({}))
    fan: FanIn = Field(default_factory=lambda: FanIn.model_validate({}))
    loading_max_kg_m2: float | None = Field(None, gt=0.0, description="Most on a tray, kg/m2.")
    time_min_h: float | None = Field(None, gt=0.0)
    time_max_h: float | None = Field(None, gt=0.0)
    cells: int | None = Field(None, ge=4, le=400, description="Along the tunnel.")


class Input(RunIn):
    """The tunnel, the leaf and the air; a target asks for the time in the tunnel."""

    tunnel: TunnelIn
    target_moisture_wb: float | None = Field(None, gt=0.0, lt=0.98)


class Output(DoorOutput):
    """What comes out, at the given time or at that which reaches the target."""

    reachable: bool | None = None
    reason: str | None = None
    settings: dict[str, float]
    duration_h: float
    truck_h: float = Field(description="Between trucks.")
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    heat_mj_per_kg_water: float
    leaf_temperature_max_c: float
    loading_kg_m2: float
    dry_air_kg: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    drained_kg: float
    supply: SupplyOut
    water_residual: float
    energy_residual: float
    curve_time_h: list[float]
    curve_moisture_wb: list[float]
    curve_leaf_c: list[float]
    curve_air_c: list[float] = Field(description="Air beside that leaf.")


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import dry

    given = data.tunnel.model_dump(exclude={"heater", "fan"}, exclude_none=True)
    tunnel = dry.TunnelDryer(**given, **heat_and_air(data.tunnel.heater, data.tunnel.fan))
    load = run_of(data)
    reachable = reason = None
    settings = {"residence_h": load.residence_h}
    if data.target_moisture_wb is None:
        result = dry.simulate_tunnel(tunnel, load)
    else:
        found = dry.aim_tunnel(tunnel, load, data.target_moisture_wb)
        result, settings = found.result, found.settings
        reachable, reason = found.reachable, found.reason
    names = set(Output.model_fields) - {"reachable", "reason", "settings", "supply"}
    return Output(
        reachable=reachable,
        reason=reason,
        settings=settings,
        supply=SupplyOut(**vars(result.supply)),
        **{n: getattr(result, n) for n in names},
    )
