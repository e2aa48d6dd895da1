"""A belt dryer in time: starting it up, or running it through gaps in the feed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._dryers import BeltIn, RunIn, belt, run_of

if TYPE_CHECKING:
    from wareleaf.stages import dry

_POINTS = 400  # of each series; more are thinned out evenly


class GapIn(DoorInput):
    """Hours without feed."""

    start_h: float = Field(ge=0.0)
    end_h: float = Field(gt=0.0)


class Input(RunIn):
    """The belt, its full feed and air, and for how long it is watched."""

    dryer: BeltIn
    hours: float = Field(gt=0.0, le=240.0)
    gaps: list[GapIn] = Field(default_factory=list, max_length=50)
    running: bool = Field(False, description="Starts at its steady state; else empty and hot.")
    tolerance_wb: float = Field(
        0.01, gt=0.0, le=0.5, description="From there on product counts as off its steady moisture."
    )


class Output(DoorOutput):
    """What leaves the belt; every list has an entry for each of ``time_h``."""

    moisture_wb_steady: float = Field(description="Where it settles.")
    settled_h: float | None = Field(
        description="From when on all that leaves is within the tolerance; null: not yet."
    )
    wet_kg: float = Field(description="Product wetter than steady by more than the tolerance.")
    dry_kg: float = Field(description="Product drier than steady by more than the tolerance.")
    unstorable_kg: float = Field(description="Product wetter than the leaf keeps.")
    leaf_temperature_max_c: float
    time_h: list[float]
    product_kg_h: list[float]
    moisture_wb_out: list[float]
    load: list[float] = Field(description="At the outlet, over that of full feed.")
    exhaust_c: list[list[float]] = Field(description="By zone.")
    curve_leaf_max_c: list[float] = Field(description="Anywhere on the belt.")
    water_residual: float
    energy_residual: float


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import dry

    dryer, load = belt(data.dryer), run_of(data)
    gaps = tuple((g.start_h, g.end_h) for g in data.gaps)
    made = dry.transient(
        dryer, load, data.hours, gaps, running=data.running, tolerance_wb=data.tolerance_wb
    )
    steady = dry.simulate(dryer, load, with_spread=False)
    limit, each_h = load.leaf_profile().moisture_wb_store_limit, made.time_h[0]
    too_wet = sum(
        kg * each_h
        for kg, wb in zip(made.product_kg_h, made.moisture_wb_out, strict=True)
        if wb > limit
    )
    keep = _kept(len(made.time_h))
    return Output(
        moisture_wb_steady=made.moisture_wb_steady,
        settled_h=_settled_h(made, data.tolerance_wb),
        wet_kg=made.wet_kg,
        dry_kg=made.dry_kg,
        unstorable_kg=too_wet,
        leaf_temperature_max_c=max(made.leaf_temperature_max_c),
        time_h=[made.time_h[i] for i in keep],
        product_kg_h=[made.product_kg_h[i] for i in keep],
        moisture_wb_out=[made.moisture_wb_out[i] for i in keep],
        load=[made.load[i] for i in keep],
        exhaust_c=[[zone[i] for i in keep] for zone in made.exhaust_c],
        curve_leaf_max_c=[made.leaf_temperature_max_c[i] for i in keep],
        water_residual=made.water_residual,
        energy_residual=made.energy_residual,
        sources=list(steady.sources),
        warnings=[
            *steady.warnings,
            "The warming-up of the machine, and air that slips through an empty stretch, are left "
            "out: a real start or gap is worse than this.",
        ],
    )


def _kept(count: int) -> list[int]:
    """Places that are shown, the last among them."""
    every = -(-count // _POINTS)
    return list(range(count - 1, -1, -every))[::-1]


def _settled_h(made: dry.TransientResult, tolerance_wb: float) -> float | None:
    """When the last product off its steady moisture has left, or the first product of all."""
    time_h = (0.0, *made.time_h)
    settled = None
    for n in reversed(range(len(made.time_h))):
        off = abs(made.moisture_wb_out[n] - made.moisture_wb_steady) > tolerance_wb
        if off or made.load[n] < 0.5:
            break
        settled = time_h[n]
    return settled
