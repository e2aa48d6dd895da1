"""What heat does to leaf: margin to its limit, what is lost of what, stewing and case hardening."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors import dryer as dryer_door
from wareleaf.works.doors._dryers import machine, run_of

if TYPE_CHECKING:
    from wareleaf.stages import quality


class LossIn(DoorInput):
    """First-order constants of the works; without activation_j_mol the published one is taken."""

    what: str = Field(description="vitamin_c, phenolics, theaflavin, chlorophyll or your own name.")
    rate_per_h: float = Field(ge=0.0, description="At reference_c, 1/h.")
    reference_c: float
    activation_j_mol: float | None = Field(None, ge=0.0)
    rate_relative_sd: float = Field(0.0, ge=0.0)
    activation_sd_j_mol: float = Field(0.0, ge=0.0)
    low_c: float = Field(-20.0, description="Leaf temperatures the constants were found at.")
    high_c: float = 200.0
    moisture_wb_low: float = Field(0.0, description="Moistures they were found at.")
    moisture_wb_high: float = 1.0


class TrialIn(DoorInput):
    """Leaf of a trial kept at one temperature."""

    what: str
    leaf_c: float
    hours: float = Field(gt=0.0)
    kept: float = Field(gt=0.0, lt=1.0, description="Share left, per dry matter.")


class Input(DoorInput):
    """A trace of leaf temperature, or a dryer's run; constants, or trials that give them."""

    leaf: str = Field(description="Leaf profile id.")
    time_h: list[float] | None = Field(None, description="Of the trace; equal times are a step.")
    leaf_c: list[float] | None = Field(None, description="One for each time.")
    moisture_wb: list[float] | None = Field(None, description="One for each time, if known.")
    fired: bool = Field(False, description="The trace is that of a firing.")
    dryer_run: dryer_door.Input | None = Field(
        None, description="In place of the trace: the input of the dryer door, without readings."
    )
    leaf_c_sd: float = Field(0.0, ge=0.0, description="Common error of the temperature, K.")
    losses: list[LossIn] = Field(default_factory=list)
    trials: list[TrialIn] = Field(default_factory=list)


class KeptOut(DoorOutput):
    """What is left of one thing; null where no constants are known."""

    what: str
    name: str
    kept: float | None
    low: float | None = Field(description="Low end of the 95 % band.")
    high: float | None
    least: float | None = Field(description="In the cell that lost most.")
    hours_at_reference: float | None
    note: str


class ConstantOut(DoorOutput):
    """Constants that were used, given or fitted."""

    what: str
    rate_per_h: float
    reference_c: float
    activation_j_mol: float
    rate_relative_sd: float
    activation_sd_j_mol: float
    source: str


class Output(DoorOutput):
    """What the heat did; null where trials were given without a trace or a run."""

    leaf_max_c: float | None = None
    limit_c: float | None = None
    limit_evidence: str | None = None
    margin_k: float | None = None
    hours_over_limit: float | None = None
    kept: list[KeptOut]
    constants: list[ConstantOut]


def run(data: Input) -> Output:
    """Compute the door."""
    losses = _losses(data)
    constant = set(ConstantOut.model_fields) - {"warnings", "sources"}
    constants = [ConstantOut(**{n: getattr(x, n) for n in constant}) for x in losses]
    said = [
        f"{x.what}: trials too few ({n}) to tell their doubt, so its band is too narrow; add some."
        for x in losses
        if (n := sum(t.what == x.what for t in data.trials)) and x.rate_relative_sd == 0.0
    ]
    if data.trials and not (data.dryer_run or data.time_h or data.leaf_c):
        return Output(
            kept=[], constants=constants, warnings=said, sources=[x.source for x in losses]
        )
    found = _assess(data, losses)
    same = set(Output.model_fields) - {"kept", "constants", "warnings", "sources"}
    return Output(
        kept=[KeptOut(**vars(k)) for k in found.kept],
        constants=constants,
        warnings=[*found.warnings, *said],
        sources=list(found.sources),
        **{n: getattr(found, n) for n in same},
    )


def _losses(data: Input) -> list[quality.Loss]:
    from wareleaf.measure import BadInput
    from wareleaf.stages import quality

    found = {}
    for row in data.losses:
        if row.activation_j_mol is None:
            found[row.what] = quality.with_published_activation(
                row.what, row.rate_per_h, row.reference_c, row.rate_relative_sd
            )
        else:
            found[row.what] = quality.Loss(**row.model_dump())
    for what in dict.fromkeys(t.what for t in data.trials):
        if what in found:
            raise BadInput("trials", what, f"{what} has constants in losses and trials; give one.")
        found[what] = quality.fit(
            what,
            [quality.Trial(t.leaf_c, t.hours, t.kept) for t in data.trials if t.what == what],
        )
    return list(found.values())


def _assess(data: Input, losses: list[quality.Loss]) -> quality.Quality:
    from wareleaf.measure import BadInput, require
    from wareleaf.stages import dry, quality

    if data.dryer_run is None:
        if data.time_h is None or data.leaf_c is None:
            raise BadInput(
                "time_h", None, "time_h and leaf_c are missing; give a trace, or a dryer_run."
            )
        trace = quality.heat_trace(data.time_h, data.leaf_c, data.moisture_wb)
        return quality.assess(trace, data.leaf, losses, leaf_c_sd=data.leaf_c_sd, fired=data.fired)
    asked = data.dryer_run
    require(
        data.time_h is None and data.leaf_c is None and data.moisture_wb is None,
        "dryer_run",
        None,
        "dryer_run and a trace are both given; give one of them.",
    )
    require(
        asked.leaf == data.leaf and asked.target_moisture_wb is None and not asked.readings,
        "dryer_run",
        asked.leaf,
        f"dryer_run must be of {data.leaf}, at its settings: without target and readings.",
    )
    spec, load = machine(asked.dryer), run_of(asked)
    result, trace = dry.simulate(spec, load), quality.dryer_trace(spec, load)
    return quality.assess(result, data.leaf, losses, trace=trace, leaf_c_sd=data.leaf_c_sd)
