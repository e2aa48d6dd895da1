"""Many runs of a dryer with its inputs as uncertain as they are: how far the leaf spreads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field

from wareleaf.works.doors import DoorOutput, called_from_afar
from wareleaf.works.doors._dryers import DryerIn, RunIn, machine, run_of

if TYPE_CHECKING:
    from wareleaf.stages import dry
    from wareleaf.works.spread_runs import Spread

_FROM_AFAR = 2000  # runs that a caller over HTTP may ask for at a time


class Input(RunIn):
    """The dryer, the leaf, the air; the fields ``*_sd`` say how far each input spreads."""

    dryer: DryerIn
    runs: int = Field(1000, ge=8, le=20000, description=f"At most {_FROM_AFAR} over HTTP.")
    limit_moisture_wb: float | None = Field(
        None, gt=0.0, lt=1.0, description="Not to be passed; left out: what the leaf keeps at."
    )


class Output(DoorOutput):
    """How the outcomes lie; points are those of the share in their name."""

    runs: int
    moisture_wb_mean: float
    moisture_wb_sd: float
    moisture_wb_low: float = Field(description="2.5 % point.")
    moisture_wb_median: float
    moisture_wb_high: float = Field(description="97.5 % point.")
    limit_wb: float
    over_limit_share: float
    over_dried_share: float
    too_hot_share: float = Field(description="Runs with leaf above the limit of its profile.")
    leaf_temperature_max_c: float = Field(description="97.5 % point of the hottest leaf.")
    heat_kwh_mean: float
    heat_kwh_sd: float
    edges_wb: list[float] = Field(description="Edges of the histogram.")
    counts: list[int]
    water_residual: float


def asked(data: Input) -> tuple[dry.Dryer, dry.DryRun]:
    """The dryer and the run that the input describes."""
    return machine(data.dryer), run_of(data)


def answer(dryer: dry.Dryer, run: dry.DryRun, found: Spread) -> Output:
    """The spread with the sources and warnings of the run it is about."""
    from wareleaf.stages import dry

    middle = dry.simulate(dryer, run, with_spread=False)
    return Output(
        **{name: getattr(found, name) for name in found.__dataclass_fields__},
        sources=list(middle.sources),
        warnings=list(middle.warnings),
    )


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import require
    from wareleaf.works.spread_runs import spread_runs

    require(
        not called_from_afar() or data.runs <= _FROM_AFAR,
        "runs",
        data.runs,
        f"runs is {data.runs}; over HTTP it is at most {_FROM_AFAR}. The command wareleaf spread "
        "takes more.",
    )
    dryer, load = asked(data)
    found = spread_runs(dryer, load, data.runs, limit_wb=data.limit_moisture_wb)
    return answer(dryer, load, found)
