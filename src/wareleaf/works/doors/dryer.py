"""A dryer run on a belt, trays or a fluid bed: what comes out, what to set, what readings say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.stages import dry


class ZoneIn(DoorInput):
    """One zone of the dryer; leave inlet_c out for a zone that blows ambient air."""

    share: float = Field(gt=0.0, le=1.0, description="Part of the area (trays: of the time).")
    inlet_c: float | None = Field(None, ge=0.0, le=150.0, description="Air set point, degC.")
    velocity_m_s: float = Field(ge=0.0, le=10.0, description="Superficial air velocity, m/s.")
    recirculated: float = Field(0.0, ge=0.0, le=0.98, description="Part of the air returned.")
    direction: Literal["up", "down"] = "up"
    remix: bool = Field(False, description="Bed turned and mixed before this zone.")
    coil_c: float | None = Field(
        None, gt=0.0, le=150.0, description="Air behind an evaporator in the return duct, degC."
    )
    coil_share: float = Field(1.0, gt=0.0, le=1.0, description="Part of the return air over it.")


class HeaterIn(DoorInput):
    """How heat gets into the air."""

    efficiency: float = Field(0.6, gt=0.0, le=1.2, description="On the net heating value.")
    loss_fraction: float = Field(0.1, ge=0.0, le=0.9, description="Casing and ducts.")
    fuel: str | None = Field(
        "firewood",
        description="coal, diesel, firewood, lpg, natural_gas, wood_pellets, or null for none.",
    )
    kind: Literal["indirect", "steam", "direct", "heat_pump"] = "indirect"
    carnot_fraction: float | None = Field(None, gt=0.0, le=1.0, description="Of a heat pump.")
    pinch_k: float | None = Field(None, ge=0.0, le=30.0, description="Of a heat pump, K.")


class FanIn(DoorInput):
    """The fans of all zones."""

    efficiency: float = Field(0.55, gt=0.0, le=1.0)
    duct_pa: float = Field(250.0, ge=0.0, description="Ducts, heater and plate at 1 m/s, Pa.")


class DryerIn(DoorInput):
    """The machine."""

    kind: Literal["belt", "trays", "fluid_bed"] = "belt"
    area_m2: float = Field(gt=0.0, description="Bed area under air, all zones, m2.")
    zones: list[ZoneIn] = Field(min_length=1, max_length=30)
    heater: HeaterIn = Field(default_factory=lambda: HeaterIn.model_validate({}))
    fan: FanIn = Field(default_factory=lambda: FanIn.model_validate({}))
    loading_max_kg_m2: float | None = Field(None, gt=0.0, description="It floods above.")
    depth_max_m: float | None = Field(None, gt=0.0, description="It floods above.")
    time_min_h: float | None = Field(None, gt=0.0)
    time_max_h: float | None = Field(None, gt=0.0)
    exposure: float | None = Field(
        None, gt=0.0, le=1.0, description="Part of the leaf surface that air reaches."
    )
    mixing: Literal["plug", "mixed"] | None = Field(None, description="Fluid bed only.")
    rate_factor: float | None = Field(
        None, gt=0.0, description="Fluid bed only: its rate over the profile's."
    )
    layers: int | None = Field(None, ge=1, le=60)
    steps: int | None = Field(None, ge=1, le=2000)


class ReadingIn(DoorInput):
    """A reading on the running dryer."""

    time_h: float = Field(0.0, ge=0.0)
    quantity: str = Field(
        description="moisture_wb_in, moisture_wb_out, exhaust_c, exhaust_c_N; trays: moisture_wb."
    )
    value: float
    standard_uncertainty: float = Field(gt=0.0)


class Input(DoorInput):
    """The dryer, the leaf and the air; a target asks what to set, readings ask for a projection."""

    leaf: str = Field(description="Leaf profile id.")
    dryer: DryerIn
    moisture_wb: float = Field(gt=0.0, lt=0.99, description="Of the feed.")
    residence_h: float = Field(gt=0.0, description="Belt time, or time on the trays, h.")
    feed_kg_h: float = Field(0.0, ge=0.0, description="Feed of a belt or fluid bed, kg/h.")
    mass_kg: float | None = Field(None, gt=0.0, description="The lot, or the charge on trays.")
    ambient_c: float = 15.0
    ambient_rh: float = Field(0.7, ge=0.0, le=1.0)
    pressure_pa: float = 101325.0
    leaf_c: float | None = None
    rate_multiplier: float = Field(1.0, gt=0.0)
    moisture_wb_sd: float | None = Field(None, ge=0.0, description="Of the feed moisture.")
    loading_relative_sd: float | None = Field(None, ge=0.0)
    ambient_c_sd: float | None = Field(None, ge=0.0)
    ambient_rh_sd: float | None = Field(None, ge=0.0)
    inlet_c_sd: float | None = Field(None, ge=0.0)
    rate_relative_sd: float | None = Field(None, ge=0.0)
    target_moisture_wb: float | None = Field(None, gt=0.0, lt=0.98)
    leaf_temperature_max_c: float | None = None
    readings: list[ReadingIn] = Field(default_factory=list)


class ZoneOut(DoorOutput):
    """One zone's air and leaf; the exhaust is its mean."""

    inlet_c: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    dry_air_kg: float
    pressure_drop_pa: float
    leaf_c_out: float
    leaf_c_max: float
    moisture_wb_out: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    drained_kg: float
    cooling_kwh: float
    condensed_kg: float
    combustion_water_kg: float


class SupplyOut(DoorOutput):
    """How the heat was made."""

    kind: str
    heat_kwh: float
    fuel_kg: float
    steam_kg: float
    compressor_kwh: float
    electric_kwh: float
    pumped_kwh: float
    rejected_kwh: float
    cop: float
    combustion_water_kg: float


class ProjectionOut(DoorOutput):
    """What the readings say."""

    residence_h: float | None = Field(description="To set for the target; null: out of reach.")
    residence_sd_h: float | None
    moisture_wb_out: float
    moisture_wb_out_sd: float
    rate_multiplier: float
    rate_multiplier_sd: float
    moisture_wb_in: float
    moisture_wb_in_sd: float
    note: str


class Output(DoorOutput):
    """What comes out, at the given settings or at those that reach the target."""

    reachable: bool | None = None
    reason: str | None = None
    settings: dict[str, float]
    duration_h: float
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    moisture_wb_layers: list[float]
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    heat_mj_per_kg_water: float
    water_kg_per_kwh: float
    leaf_temperature_max_c: float
    leaf_temperature_out_c: float
    air_temperature_max_c: float
    exhaust_c: float
    loading_kg_m2: float
    depth_m: float
    minimum_fluidisation_m_s: float | None
    zones: list[ZoneOut]
    supply: SupplyOut
    water_residual: float
    energy_residual: float
    curve_time_h: list[float]
    curve_moisture_wb: list[float]
    curve_leaf_c: list[float]
    projection: ProjectionOut | None = None


_RUN = (
    "moisture_wb",
    "residence_h",
    "feed_kg_h",
    "mass_kg",
    "ambient_c",
    "ambient_rh",
    "pressure_pa",
    "leaf_c",
    "rate_multiplier",
    "moisture_wb_sd",
    "loading_relative_sd",
    "ambient_c_sd",
    "ambient_rh_sd",
    "inlet_c_sd",
    "rate_relative_sd",
)


def machine(data: DryerIn) -> dry.Dryer:
    """The dryer that the input describes; what is left out keeps its default."""
    from wareleaf.measure import require
    from wareleaf.stages import dry

    given: dict[str, Any] = data.model_dump(
        exclude={"kind", "zones", "heater", "fan"}, exclude_none=True
    )
    for name in ("mixing", "rate_factor"):
        require(
            data.kind == "fluid_bed" or name not in given,
            name,
            given.get(name),
            f"{name} is for a fluid_bed; leave it out for {data.kind}.",
        )
    given["zones"] = tuple(dry.Zone(**z.model_dump()) for z in data.zones)
    heater = data.heater.model_dump(exclude_none=True) | {"fuel": data.heater.fuel}
    given["heater"] = dry.Heater(**heater)
    given["fan"] = dry.Fan(**data.fan.model_dump())
    if data.kind == "trays":
        return dry.TrayDryer(**given)
    return dry.BeltDryer(**given) if data.kind == "belt" else dry.FluidBed(**given)


def load(data: Input) -> dry.DryRun:
    """The run that the input describes."""
    from wareleaf.stages import dry

    given = {n: getattr(data, n) for n in _RUN if getattr(data, n) is not None}
    return dry.DryRun(leaf_id=data.leaf, **given)


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import require
    from wareleaf.stages import dry

    dryer, charge = machine(data.dryer), load(data)
    reachable = reason = None
    settings = {"residence_h": charge.residence_h}
    if data.target_moisture_wb is None:
        require(
            not data.readings,
            "target_moisture_wb",
            None,
            "target_moisture_wb is missing; readings are projected to a target moisture.",
        )
        result = dry.simulate(dryer, charge)
    else:
        found = dry.aim(dryer, charge, data.target_moisture_wb, data.leaf_temperature_max_c)
        result, settings = found.result, found.settings
        reachable, reason = found.reachable, found.reason
    names = set(Output.model_fields) - {
        "reachable",
        "reason",
        "settings",
        "zones",
        "projection",
        "supply",
    }
    return Output(
        reachable=reachable,
        reason=reason,
        settings=settings,
        zones=[ZoneOut(**vars(z)) for z in result.zones],
        supply=SupplyOut(**vars(result.supply)),
        projection=_projection(data, dryer, charge),
        **{n: getattr(result, n) for n in names},
    )


def _projection(data: Input, dryer: dry.Dryer, load: dry.DryRun) -> ProjectionOut | None:
    from math import isfinite

    from wareleaf.stages import dry
    from wareleaf.stages.common import StageReading

    if not data.readings or data.target_moisture_wb is None:
        return None
    seen = [StageReading(**r.model_dump()) for r in data.readings]
    view = dry.project(dryer, load, seen, data.target_moisture_wb)
    names = set(ProjectionOut.model_fields) - {
        "residence_h",
        "residence_sd_h",
        "sources",
        "warnings",
    }
    return ProjectionOut(
        residence_h=view.finish_h if isfinite(view.finish_h) else None,
        residence_sd_h=view.finish_sd_h if isfinite(view.finish_sd_h) else None,
        **{n: getattr(view, n) for n in names},
    )
