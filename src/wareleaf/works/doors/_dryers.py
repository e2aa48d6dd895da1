"""What the doors of dryers share: zones, heater, fan, machine, the run, and the heat supply."""

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


class BeltIn(DoorInput):
    """A bed in zones that air passes."""

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
    layers: int | None = Field(None, ge=1, le=60)
    steps: int | None = Field(None, ge=1, le=2000)


class DryerIn(BeltIn):
    """The machine."""

    kind: Literal["belt", "trays", "fluid_bed"] = "belt"
    mixing: Literal["plug", "mixed"] | None = Field(None, description="Fluid bed only.")
    rate_factor: float | None = Field(
        None, gt=0.0, description="Fluid bed only: its rate over the profile's."
    )


class RunIn(DoorInput):
    """The leaf, the time, the air around and how well each is known."""

    leaf: str = Field(description="Leaf profile id.")
    moisture_wb: float = Field(gt=0.0, lt=0.99, description="Of the feed.")
    residence_h: float = Field(gt=0.0, description="Time in the dryer, h.")
    feed_kg_h: float = Field(0.0, ge=0.0, description="Feed, kg/h; not of trays.")
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
    combustion_co2_kg: float


def heat_and_air(heater: HeaterIn, fan: FanIn) -> dict[str, Any]:
    """Heater and fan as the dryers take them."""
    from wareleaf.stages import dry

    given = heater.model_dump(exclude_none=True) | {"fuel": heater.fuel}
    return {"heater": dry.Heater(**given), "fan": dry.Fan(**fan.model_dump())}


def belt(data: BeltIn) -> dry.BeltDryer:
    """The belt that the input describes; what is left out keeps its default."""
    from wareleaf.stages import dry

    return dry.BeltDryer(**_bed(data))


def machine(data: DryerIn) -> dry.Dryer:
    """The dryer that the input describes; what is left out keeps its default."""
    from wareleaf.measure import require
    from wareleaf.stages import dry

    given = _bed(data)
    for name in ("mixing", "rate_factor"):
        require(
            data.kind == "fluid_bed" or name not in given,
            name,
            given.get(name),
            f"{name} is for a fluid_bed; leave it out for {data.kind}.",
        )
    if data.kind == "trays":
        return dry.TrayDryer(**given)
    return dry.BeltDryer(**given) if data.kind == "belt" else dry.FluidBed(**given)


def _bed(data: BeltIn) -> dict[str, Any]:
    from wareleaf.stages import dry

    given = data.model_dump(exclude={"kind", "zones", "heater", "fan"}, exclude_none=True)
    given["zones"] = tuple(dry.Zone(**z.model_dump()) for z in data.zones)
    return given | heat_and_air(data.heater, data.fan)


def run_of(data: RunIn) -> dry.DryRun:
    """The run that the input describes; what is left out keeps its default."""
    from wareleaf.stages import dry

    given = {name: getattr(data, name) for name in RunIn.model_fields if name != "leaf"}
    return dry.DryRun(leaf_id=data.leaf, **{k: v for k, v in given.items() if v is not None})
