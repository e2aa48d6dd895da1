"""Equivalent time at a reference temperature and log reduction over a measured trace."""

from __future__ import annotations

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """A temperature trace of the coldest point and the organism's or enzyme's constants."""

    time_s: list[float] = Field(
        min_length=2, description="Times of the readings, rising; two equal times are a step."
    )
    temperature_c: list[float] = Field(min_length=2, description="One reading for each time.")
    reference_c: float = Field(description="Reference temperature, degC.")
    z_k: float = Field(gt=0.0, description="Kelvin for a tenfold change of the lethal rate.")
    d_reference_s: float | None = Field(
        None, gt=0.0, description="Seconds for one decimal reduction at the reference."
    )
    temperature_standard_uncertainty_k: float = Field(
        0.0, ge=0.0, description="Thermometer's standard uncertainty, common to all readings."
    )


class Output(DoorOutput):
    """Equivalent time and, with a D value, the decimal reduction."""

    equivalent_time_s: float
    equivalent_time_sd_s: float
    log_reduction: float | None
    linear_temperature_time_s: float
    temperature_max_c: float
    method: str


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import lethality

    found = lethality.lethality(
        data.time_s,
        data.temperature_c,
        data.reference_c,
        data.z_k,
        d_reference_s=data.d_reference_s,
        temperature_standard_uncertainty_k=data.temperature_standard_uncertainty_k,
    )
    return Output(
        equivalent_time_s=found.equivalent_time_s,
        equivalent_time_sd_s=found.equivalent_time_sd_s,
        log_reduction=found.log_reduction,
        linear_temperature_time_s=found.linear_temperature_time_s,
        temperature_max_c=found.temperature_max_c,
        method=lethality.METHOD,
        sources=list(lethality.SOURCES),
        warnings=list(found.warnings),
    )
