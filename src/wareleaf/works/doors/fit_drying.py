"""Thin-layer drying curves fitted to a run, ranked, with standard errors and diffusivity."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._fits import Constant, constants_of, goodness, loose, unranked

if TYPE_CHECKING:
    from wareleaf.leaf.fit import Fit

ModelName = Literal[
    "lewis",
    "page",
    "henderson_pabis",
    "logarithmic",
    "two_term",
    "midilli",
    "diffusion_slab",
    "wang_singh",
]
USUAL: list[ModelName] = [
    "lewis",
    "page",
    "henderson_pabis",
    "logarithmic",
    "two_term",
    "midilli",
    "diffusion_slab",
]


class Input(DoorInput):
    """One drying run, weighed, as moisture on dry basis; the first reading is the start."""

    time_h: list[float] = Field(min_length=2, max_length=20000, description="Rising.")
    moisture_db: list[float] = Field(min_length=2, max_length=20000)
    equilibrium_moisture_db: float | None = Field(
        None, ge=0.0, description="Where the run would end; 0 when left out."
    )
    fit_equilibrium: bool = Field(
        False, description="Fit the equilibrium too, in curves without an end of their own."
    )
    models: list[ModelName] | None = Field(
        None, description="Seven when left out, less those with more constants than readings."
    )
    half_thickness_m: float | None = Field(
        None, gt=0.0, le=0.1, description="Of the slab, dried from both faces."
    )


class FittedCurve(BaseModel):
    """One fitted curve; RMSE and residuals in kg/kg dry basis; k in 1/h (Page, Midilli 1/h^n)."""

    model: str
    parameters: dict[str, Constant]
    rmse: float
    rmse_moisture_ratio: float
    residual_sd: float
    mean_relative_deviation_percent: float | None
    aicc: float | None
    predicted: list[float]
    residuals: list[float]
    effective_diffusivity_m2_s: float | None = None
    effective_diffusivity_standard_error_m2_s: float | None = None


class Output(DoorOutput):
    """The fits, best first by AICc; the diffusivity is that of the whole slab series."""

    fits: list[FittedCurve]
    best: str
    effective_diffusivity_m2_s: float | None = None
    effective_diffusivity_standard_error_m2_s: float | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.leaf.fit_thin_layer import SOURCES, checked_run, fit_thin_layer
    from wareleaf.measure import BadInput

    if data.fit_equilibrium and data.equilibrium_moisture_db is not None:
        raise BadInput(
            "equilibrium_moisture_db",
            data.equilibrium_moisture_db,
            "equilibrium_moisture_db is given and fit_equilibrium is true; choose one of the two.",
        )
    given = data.equilibrium_moisture_db or 0.0
    end = None if data.fit_equilibrium else given
    checked_run(data.time_h, data.moisture_db, end)
    warnings: list[str] = []
    names = _names(data, warnings)
    found = fit_thin_layer(data.time_h, data.moisture_db, names, end)
    out = Output(
        fits=[_shown(f, data) for f in found],
        best=found[0].model,
        sources=[*SOURCES, "AICc: Hurvich and Tsai, Biometrika 76:297 (1989), from memory."],
    )
    if data.half_thickness_m is not None:
        shown = [f for f in out.fits if f.model == "diffusion_slab"]
        slab = (
            shown[0]
            if shown
            else _shown(
                fit_thin_layer(data.time_h, data.moisture_db, ["diffusion_slab"], end)[0], data
            )
        )
        out.effective_diffusivity_m2_s = slab.effective_diffusivity_m2_s
        out.effective_diffusivity_standard_error_m2_s = (
            slab.effective_diffusivity_standard_error_m2_s
        )
    out.warnings = warnings + _warnings(data, found)
    return out


def _names(data: Input, warnings: list[str]) -> list[str]:
    from wareleaf.leaf.fit_thin_layer import CURVES

    if data.models is not None:
        return list(dict.fromkeys(data.models))

    def constants(name: str) -> int:
        free = data.fit_equilibrium and not CURVES[name].own_end
        return len(CURVES[name].names) + free

    able: list[str] = [n for n in USUAL if constants(n) < len(data.time_h)]
    left = [n for n in USUAL if n not in able]
    if able and left:
        warnings.append(f"Left out for want of readings: {', '.join(left)}.")
    return able or list(USUAL)


def _shown(fit: Fit, data: Input) -> FittedCurve:
    from wareleaf.leaf.fit_thin_layer import EQUILIBRIUM, SLAB_RATE

    end = fit.parameters.get(EQUILIBRIUM, data.equilibrium_moisture_db or 0.0)
    shown = FittedCurve(
        model=fit.model,
        parameters=constants_of(fit),
        rmse_moisture_ratio=fit.rmse / (data.moisture_db[0] - end),
        **goodness(fit),
    )
    if fit.model == "diffusion_slab" and data.half_thickness_m is not None:
        per_h = data.half_thickness_m**2 / 3600.0
        shown.effective_diffusivity_m2_s = fit.parameters[SLAB_RATE] * per_h
        error = fit.standard_errors[SLAB_RATE]
        shown.effective_diffusivity_standard_error_m2_s = None if error is None else error * per_h
    return shown


def _warnings(data: Input, found: list[Fit]) -> list[str]:
    from wareleaf.leaf.fit_thin_layer import EQUILIBRIUM

    said = []
    if data.equilibrium_moisture_db is None and not data.fit_equilibrium:
        said.append(
            "equilibrium_moisture_db was not given and is taken as 0; near the end of drying that "
            "makes the leaf look slower than it is."
        )
    below = [x for x in data.moisture_db if x < (data.equilibrium_moisture_db or 0.0)]
    if below:
        said.append(f"{len(below)} readings are drier than equilibrium_moisture_db.")
    for fit in found:
        said += [*loose(fit, "the readings do"), *unranked(fit, "readings")]
        if fit.model == "wang_singh":
            said.append(
                "wang_singh turns upward past its lowest point; use it inside the run only."
            )
        if fit.parameters.get("c", 0.0) < 0.0 or (
            fit.parameters.get("b", 0.0) < 0.0 and (fit.model == "midilli")
        ):
            said.append(f"{fit.model} falls below equilibrium in the end; use it inside the run.")
    if data.fit_equilibrium and not any(EQUILIBRIUM in f.parameters for f in found):
        said.append("None of these curves takes a fitted equilibrium; it was taken as 0.")
    if data.half_thickness_m is not None:
        said.append(
            "The diffusivity belongs to this thickness, both faces open, no shrinkage and no outer "
            "resistance; do not mix it with another thickness."
        )
    return said
