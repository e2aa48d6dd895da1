"""Isotherms fitted to sorption points, ranked, with standard errors and residuals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._fits import Constant, constants_of, goodness, loose, unranked

if TYPE_CHECKING:
    from wareleaf.leaf.fit_sorption import SorptionFit

ModelName = Literal[
    "gab",
    "modified_oswin",
    "modified_halsey",
    "modified_henderson",
    "modified_chung_pfost",
    "peleg",
]
ALL: list[ModelName] = [
    "gab",
    "modified_oswin",
    "modified_halsey",
    "modified_henderson",
    "modified_chung_pfost",
    "peleg",
]
_WET_FOR_DRY_AIR_DB = 1.0  # ten times what leaf holds there


class Point(DoorInput):
    """One equilibrium point."""

    water_activity: float
    moisture_db: float
    temperature_c: float


class Input(DoorInput):
    """Points of one branch of one leaf, and the models to try."""

    points: list[Point] = Field(min_length=2, max_length=5000)
    models: list[ModelName] | None = Field(
        None, description="All six when left out, less those with more constants than points."
    )
    salt_nacl_fraction: float = Field(
        0.0, description="Of the dry matter; the constants are then those of the organic matter."
    )
    salt_kcl_fraction: float = Field(0.0, description="Likewise; raw sugar kelp: 0.06 and 0.12.")


class FittedIsotherm(BaseModel):
    """One fitted model; moisture in kg/kg dry basis."""

    model: str
    parameters: dict[str, Constant]
    held: dict[str, float] = Field(description="Constants that were not fitted, and their value.")
    constants: dict[str, float] = Field(description="All constants, as the sorption door takes.")
    rmse: float
    residual_sd: float
    mean_relative_deviation_percent: float | None
    aicc: float | None
    predicted: list[float]
    residuals: list[float]


class Output(DoorOutput):
    """The fits, best first by AICc."""

    fits: list[FittedIsotherm]
    best: str


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf import leaf
    from wareleaf.leaf.fit_sorption import fit_sorption, least_constants

    warnings: list[str] = []
    names: list[str] = list(data.models) if data.models is not None else list(ALL)
    if data.models is None:
        able = [n for n in names if least_constants(n) < len(data.points)]
        left = [n for n in names if n not in able]
        if able and left:
            warnings.append(f"Left out for want of points: {', '.join(left)}.")
        names = able or names
    found = fit_sorption(
        [p.water_activity for p in data.points],
        [p.moisture_db for p in data.points],
        [p.temperature_c for p in data.points],
        list(dict.fromkeys(names)),
        (data.salt_nacl_fraction, data.salt_kcl_fraction),
    )
    sources = dict.fromkeys(leaf.model_source(f.fit.model) for f in found)
    if data.salt_nacl_fraction + data.salt_kcl_fraction > 0.0:
        sources |= dict.fromkeys(leaf.salt_sources())
    return Output(
        fits=[_shown(f) for f in found],
        best=found[0].fit.model,
        sources=[*sources, "AICc: Hurvich and Tsai, Biometrika 76:297 (1989), from memory."],
        warnings=[*warnings, *_warnings(found), *_of_points(data)],
    )


def _shown(found: SorptionFit) -> FittedIsotherm:
    fit = found.fit
    return FittedIsotherm(
        model=fit.model,
        parameters=constants_of(fit),
        held={n: v for n, v in found.constants.items() if n not in fit.parameters},
        constants=found.constants,
        **goodness(fit),
    )


def _warnings(found: list[SorptionFit]) -> list[str]:
    said = []
    for each in found:
        name = each.fit.model
        if each.held:
            said.append(f"{name}: held, not fitted: {', '.join(each.held)}.")
        said += [*loose(each.fit, "the points do"), *unranked(each.fit, "points")]
        if name == "gab" and each.constants["k"] > 1.0:
            said.append("gab: K is above 1, so the isotherm ends below saturation.")
    said.append("Constants hold inside the points' range of temperature and water activity only.")
    return said


def _of_points(data: Input) -> list[str]:
    said = []
    if data.salt_nacl_fraction + data.salt_kcl_fraction > 0.0:
        said.append(
            "The constants are those of the organic matter: give the sorption door, or the "
            "profile, the same shares of salt."
        )
    else:
        said.append(
            "No salt was given, so the curve holds its water too: use it where salt is given as 0, "
            "or fit again with the leaf's salt."
        )
    driest = [p.moisture_db for p in data.points if p.water_activity < 0.6]
    if driest and max(driest) > _WET_FOR_DRY_AIR_DB:
        said.append(
            f"A point below water activity 0.6 holds {max(driest):.3g} kg/kg; leaf holds some "
            "0.1 there, so moistures in percent must be divided by 100."
        )
    return said
