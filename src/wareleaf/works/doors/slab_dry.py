"""One blade in moving air: wet bulb, drying out, warming, hours to a moisture."""

from __future__ import annotations

import math

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """A blade that dries from both faces, and the air along it."""

    leaf: str = Field(description="Leaf profile id.")
    moisture_wb: float = Field(gt=0.0, lt=1.0)
    duration_h: float = Field(gt=0.0, le=2000.0)
    dry_bulb_c: float | list[float] = Field(description="One value, or one for each of time_h.")
    relative_humidity: float | list[float]
    time_h: list[float] = Field([0.0], description="Hours of the air's series, rising.")
    velocity_m_s: float = 1.0
    length_m: float = Field(0.1, description="Of the blade along the wind.")
    heat_transfer_w_m2_k: float | None = Field(None, description="Flat plate when left out.")
    lewis_factor: float = Field(1.0, description="h/(K c); 1 is the Lewis relation.")
    air_kg_s_m2: float | None = Field(
        None,
        description="Dry air per m2 of leaf face; so much that it does not change if left out.",
    )
    pressure_pa: float = 101325.0
    leaf_temperature_c: float = Field(20.0, description="At the start.")
    half_thickness_m: float | None = Field(None, description="From the profile when left out.")
    diffusivity_m2_s: float | None = Field(None, description="From the profile when left out.")
    activation_j_mol: float | None = None
    reference_c: float | None = None
    shrinkage: float = 0.0
    solids_density_ratio: float = 1.5
    diffusivity_power: float = 0.0
    cells: int = 30
    target_moisture_wb: float | None = Field(None, description="Gives the hours to it.")


class Output(DoorOutput):
    """The course of the blade; rate per m2 of leaf face; residuals are relative closures."""

    moisture_wb_out: float
    equilibrium_wb: float = Field(description="Driest that the last air can bring.")
    hours_to_target: float | None = Field(
        None, description="Null when not asked or not within duration_h."
    )
    constant_rate_h: float
    wet_bulb_c: float = Field(description="Of the first air.")
    leaf_temperature_max_c: float
    heat_transfer_w_m2_k: float
    biot_heat: float
    biot_moisture: float
    half_thickness_m_out: float
    time_h: list[float]
    moisture_db: list[float]
    surface_db: list[float]
    centre_db: list[float]
    leaf_c: list[float]
    rate_kg_h_m2: list[float]
    water_residual: float
    energy_residual: float


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import slab_air, slab_blade, slab_dry

    def series(value: float | list[float]) -> tuple[float, ...]:
        return tuple(value) if isinstance(value, list) else (value,) * len(data.time_h)

    plain = {"velocity_m_s", "length_m", "heat_transfer_w_m2_k", "lewis_factor", "pressure_pa"}
    flow = math.inf if data.air_kg_s_m2 is None else data.air_kg_s_m2
    air = slab_air.SlabAir(
        series(data.dry_bulb_c),
        series(data.relative_humidity),
        tuple(data.time_h),
        air_kg_s_m2=flow,
        **data.model_dump(include=plain),
    )
    of_leaf = set(slab_blade.Blade.__dataclass_fields__) - {"leaf_id"}
    blade = slab_blade.Blade(data.leaf, **data.model_dump(include=of_leaf))
    hung = slab_blade.BladeRun(data.moisture_wb, data.duration_h, data.leaf_temperature_c)
    hours = None
    if data.target_moisture_wb is not None:
        hours = slab_dry.hours_to(blade, hung, air, data.target_moisture_wb)
    found = slab_dry.simulate(blade, hung, air)
    same = set(Output.model_fields) & set(found.__dataclass_fields__)
    courses = ("time_h", "surface_db", "centre_db", "leaf_c", "rate_kg_h_m2")
    fields = {name: getattr(found, name) for name in same - {*courses, "wet_bulb_c"}}
    return Output(
        **fields,
        **{name: getattr(found, name).tolist() for name in courses},
        moisture_db=found.mean_db.tolist(),
        wet_bulb_c=float(found.wet_bulb_c[0]),
        half_thickness_m_out=float(found.thickness_m[-1]),
        hours_to_target=hours if hours is not None and math.isfinite(hours) else None,
    )
