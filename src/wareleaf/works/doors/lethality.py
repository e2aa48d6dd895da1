"""Equivalent time at a reference temperature and log reduction over a measured trace."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class FractionIn(DoorInput):
    """A part of an enzyme's activity with its own first-order rate."""

    share: float = Field(gt=0.0, le=1.0)
    rate_per_min: float = Field(gt=0.0, description="At reference_c.")
    activation_j_mol: float = Field(ge=0.0)
    reference_c: float = 100.0


class Input(DoorInput):
    """A temperature trace and the organism's or enzyme's constants.

    The trace is of the coldest point; with half_thickness_m it is of the water, and the middle of
    a blade in it is computed.
    """

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
    half_thickness_m: float | None = Field(
        None, gt=0.0, le=0.1, description="The trace is of the water; the blade lags it."
    )
    leaf_temperature_c: float = Field(10.0, description="Leaf as it goes in, at the first reading.")
    heat_transfer_w_m2_k: float | None = Field(None, gt=0.0, description="Water to blade.")
    enzyme: Literal["peroxidase"] | list[FractionIn] | None = Field(
        None, description="Gives the share of its activity that survives."
    )


class Output(DoorOutput):
    """Equivalent time and, with a D value, the decimal reduction."""

    equivalent_time_s: float
    equivalent_time_sd_s: float
    log_reduction: float | None
    linear_temperature_time_s: float
    temperature_max_c: float
    method: str
    enzyme_survival: float | None = None
    time_s: list[float] | None = Field(None, description="Of the blade, when it is computed.")
    middle_c: list[float] | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    import numpy as np

    from wareleaf.stages import blanch_trace, lethality

    time_s, middle_c, warnings = data.time_s, data.temperature_c, []
    if data.half_thickness_m is not None:
        heating = blanch_trace.blade_in_water(
            time_s,
            middle_c,
            half_thickness_m=data.half_thickness_m,
            leaf_c=data.leaf_temperature_c,
            heat_transfer_w_m2_k=data.heat_transfer_w_m2_k,
        )
        time_s, middle_c = heating.time_s.tolist(), heating.middle_c.tolist()
        warnings.append(
            "The blade is taken to hang free in the water; in a clump give the thickness that the "
            "heat must cross."
        )
    found = lethality.lethality(
        time_s,
        middle_c,
        data.reference_c,
        data.z_k,
        d_reference_s=data.d_reference_s,
        temperature_standard_uncertainty_k=data.temperature_standard_uncertainty_k,
    )
    left = None
    if data.enzyme is not None:
        if isinstance(data.enzyme, str):
            fractions = blanch_trace.peroxidase()
            warnings.append("Peroxidase constants are of corn; none of seaweed was found.")
        else:
            fractions = tuple(blanch_trace.EnzymeFraction(**f.model_dump()) for f in data.enzyme)
        left = blanch_trace.survival(np.array(time_s), np.array(middle_c), fractions)
    return Output(
        equivalent_time_s=found.equivalent_time_s,
        equivalent_time_sd_s=found.equivalent_time_sd_s,
        log_reduction=found.log_reduction,
        linear_temperature_time_s=found.linear_temperature_time_s,
        temperature_max_c=found.temperature_max_c,
        method=lethality.METHOD,
        enzyme_survival=left,
        time_s=time_s if data.half_thickness_m is not None else None,
        middle_c=middle_c if data.half_thickness_m is not None else None,
        sources=list(lethality.SOURCES),
        warnings=[*found.warnings, *warnings],
    )
