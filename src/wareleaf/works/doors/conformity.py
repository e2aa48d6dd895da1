"""Whether a measured value conforms to its limits, with the probability (JCGM 106)."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """A value with its standard uncertainty, one or two limits and the rule.

    The guard band is ``guard_factor`` times the standard uncertainty.
    """

    value: float
    standard_uncertainty: float = Field(ge=0.0)
    lower: float | None = None
    upper: float | None = None
    rule: Literal["simple", "guarded", "guarded_rejection"] = "guarded"
    guard_factor: float = Field(2.0, ge=0.0)

    @model_validator(mode="after")
    def _limits(self) -> Self:
        if self.lower is None and self.upper is None:
            raise ValueError("give lower, upper or both")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(f"lower is {self.lower:g} and must be below upper, {self.upper:g}")
        return self


class Output(DoorOutput):
    """Decision; the interval's sides are null where it is open (or where nothing is accepted)."""

    probability_conforming: float
    acceptance_interval: tuple[float | None, float | None]
    acceptance_interval_empty: bool
    decision: Literal["conforms", "does_not_conform", "undecided"]
    guard_band: float


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.release import conformity

    found = conformity.decide(
        data.value,
        data.standard_uncertainty,
        lower=data.lower,
        upper=data.upper,
        rule=data.rule,
        guard_factor=data.guard_factor,
    )
    out = Output(
        probability_conforming=found.probability_conforming,
        acceptance_interval=found.acceptance_interval,
        acceptance_interval_empty=found.empty,
        decision=found.decision.value,
        guard_band=found.guard_band,
        sources=[conformity.SOURCE],
    )
    if found.empty:
        out.warnings.append(
            "The guard bands meet: at this uncertainty no value can be accepted; measure better."
        )
    if data.standard_uncertainty == 0.0:
        out.warnings.append("A standard uncertainty of 0 says the value is exact; few are.")
    if found.decision == "conforms" and found.probability_conforming < 0.5:
        out.warnings.append(
            "The value lies beyond the limit; the rule only withholds the word non-conforming."
        )
    return out
