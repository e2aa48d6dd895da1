"""The state of humid air from the dry bulb and one other property, at any pressure."""

from __future__ import annotations

import math
from typing import Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput

_OTHERS = ("relative_humidity", "wet_bulb_c", "dew_point_c", "humidity_ratio")


class Input(DoorInput):
    """The dry bulb, exactly one other property, and the total pressure."""

    dry_bulb_c: float = Field(ge=-60.0, le=150.0, description="degC")
    relative_humidity: float | None = Field(None, ge=0.0, le=1.0, description="0 to 1")
    wet_bulb_c: float | None = Field(None, description="thermodynamic, degC")
    dew_point_c: float | None = Field(None, description="degC; frost point below 0.01")
    humidity_ratio: float | None = Field(None, ge=0.0, description="kg per kg dry air")
    pressure_pa: float = Field(101325.0, ge=20_000.0, le=200_000.0, description="total, Pa")

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        given = [name for name in _OTHERS if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(
                f"besides dry_bulb_c give exactly one of {', '.join(_OTHERS)}; "
                f"{len(given)} are given"
            )
        return self


class Output(DoorOutput):
    """All properties; enthalpy and volume per kg dry air."""

    dry_bulb_c: float
    relative_humidity: float
    wet_bulb_c: float
    dew_point_c: float | None
    humidity_ratio: float
    pressure_pa: float
    vapour_pressure_pa: float
    saturation_pressure_pa: float
    enthalpy_j_kg: float
    specific_volume_m3_kg: float


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf import air
    from wareleaf.measure import read_sources

    given = {n: v for n in _OTHERS if (v := getattr(data, n)) is not None}
    state = air.air_state(dry_bulb_c=data.dry_bulb_c, pressure_pa=data.pressure_pa, **given)
    values = {n: getattr(state, n) for n in Output.model_fields if hasattr(state, n)}
    warnings = [
        "The coefficients of the cited equations were recalled, not read there; printed tables and "
        "a second library confirm them."
    ]
    if math.isnan(state.dew_point_c):
        values["dew_point_c"] = None
        warnings.append("The air is too dry to have a dew point above -100 degC.")
    if not 65_000.0 <= data.pressure_pa <= 125_000.0 or data.dry_bulb_c < -40.0:
        warnings.append(
            "Outside -40 to 150 degC and 65 to 125 kPa the enhancement factor is off by up to "
            "0.05 % instead of 0.01 %."
        )
    if state.humidity_ratio > 0.2:
        warnings.append(
            "Above 0.2 kg/kg the ideal volume parts from the real gas by up to 1.3 % and the "
            "enthalpy by up to 0.4 %."
        )
    sources = [source.cite() for source in read_sources("wareleaf.air").values()]
    return Output(**values, sources=sources, warnings=warnings)
