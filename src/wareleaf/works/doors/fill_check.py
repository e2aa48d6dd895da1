"""Declared-weight check of a lot of packs, each step shown (OIML R 87 or Directive 76/211/EEC)."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """Declared quantity of a pack in g or ml, packs in the lot, and net weights of the sample."""

    nominal_g: float | None = Field(None, gt=0.0)
    nominal_ml: float | None = Field(None, gt=0.0)
    density_g_ml: float | None = Field(None, gt=0.0, description="Only with nominal_ml.")
    lot_size: int = Field(ge=1)
    net_g: list[Annotated[float, Field(ge=0.0)]] = Field(min_length=1, max_length=100_000)
    scheme: Literal["oiml_r87", "eu_76_211"] = "oiml_r87"

    @model_validator(mode="after")
    def _one_nominal(self) -> Self:
        if (self.nominal_g is None) == (self.nominal_ml is None):
            raise ValueError("give exactly one of nominal_g and nominal_ml")
        if self.density_g_ml is not None and self.nominal_ml is None:
            raise ValueError("density_g_ml goes with nominal_ml only")
        return self


class StepOut(DoorInput):
    """One step; ``passed`` is null where the step decides nothing."""

    name: str
    working: str
    passed: bool | None


class Output(DoorOutput):
    """Both tests and the decision; everything in grams."""

    tolerable_deficiency_g: float
    sample_size: int
    mean_error_g: float
    standard_deviation_g: float
    mean_limit_g: float
    mean_test: Literal["pass", "fail"]
    t1_count: int
    t1_allowed: int
    t2_count: int
    decision: Literal["accept", "reject", "second_sample"]
    steps: list[StepOut]


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import Evidence
    from wareleaf.pack import check_fill

    density = 1.0 if data.nominal_ml is None else data.density_g_ml or 1.0
    nominal = data.nominal_g if data.nominal_g is not None else data.nominal_ml
    assert nominal is not None
    found = check_fill(nominal, data.lot_size, [w / density for w in data.net_g], data.scheme)
    warnings = []
    if data.nominal_ml is not None:
        if data.density_g_ml is None:
            warnings.append("density_g_ml was left out: 1 g/ml was taken.")
        warnings.append("The steps are worked in ml.")
    if found.evidence is not Evidence.READ:
        warnings.append(
            f"Tables or rounding of {data.scheme} are {found.evidence.value} here, not read in "
            "the text: check them before a legal decision."
        )
    if found.decision == "second_sample":
        warnings.append("Between accept and reject: draw the second sample of the double plan.")
    return Output(
        tolerable_deficiency_g=found.tolerable_deficiency * density,
        sample_size=found.n,
        mean_error_g=found.mean_error * density,
        standard_deviation_g=found.sd * density,
        mean_limit_g=found.mean_limit * density,
        mean_test="pass" if found.mean_passes else "fail",
        t1_count=found.t1_count,
        t1_allowed=found.t1_allowed,
        t2_count=found.t2_count,
        decision=found.decision,  # type: ignore[arg-type]
        steps=[StepOut(name=s.name, working=s.working, passed=s.passed) for s in found.steps],
        sources=list(found.sources),
        warnings=warnings,
    )
