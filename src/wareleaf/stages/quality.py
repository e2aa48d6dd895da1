"""Quality in the heat: how near the leaf comes to its limit, what is lost, and what to watch.

`assess` takes the result of a dryer, a trough, sun drying or a wait, or the trace of a probe. It
says the margin to the profile's limit, what is left of colour, vitamin C, phenolics or theaflavins,
and warns of stewing, case hardening and harm. Loss needs constants: almost none are published,
so a works gives its own, from a trial (`fit`). Where there are none it says so and gives no number.
It leaves out: oxygen, light, enzymes that die on the way, and what is leached or rubbed off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.stages._dry_result import DryResult
from wareleaf.stages.common import StageResult
from wareleaf.stages.quality_constants import (
    Trial,
    fit,
    no_constant,
    with_published_activation,
)
from wareleaf.stages.quality_heat import HeatTrace, dryer_trace, heat_trace, trace_of
from wareleaf.stages.quality_loss import Exposure, Kept, Loss, exposure, kept
from wareleaf.stages.quality_rules import (
    HARM_C,
    DryingAir,
    Rule,
    case_hardening,
    entering_wb,
    stewing,
    tea_heat,
    too_hot,
)

__all__ = [
    "DryingAir",
    "Exposure",
    "HeatTrace",
    "Kept",
    "Loss",
    "Quality",
    "Trial",
    "assess",
    "dryer_trace",
    "exposure",
    "fit",
    "heat_trace",
    "kept",
    "trace_of",
    "with_published_activation",
]

# What heat takes that buyers ask for, by crop; a works' own list comes on top.
MATTERS = {"tea_black": ("theaflavin", "phenolics"), "tea": ("chlorophyll", "phenolics")}
MATTERS_ELSE = ("chlorophyll", "vitamin_c", "phenolics")

FIRST_ORDER = (
    "First-order loss with an Arrhenius rate (textbook kinetics), leaf temperature linear between "
    "the points of the trace"
)


@dataclass(frozen=True)
class Quality:
    """What the heat did.

    Parameters
    ----------
    leaf_max_c : float
        Hottest leaf, degC.
    limit_c : float
        Limit of the leaf profile, degC.
    limit_evidence : str
        How well that limit is known.
    margin_k : float
        Limit less hottest leaf; below 0 it was passed.
    hours_over_limit : float
        Of the hottest cell.
    kept : tuple of Kept
        What is left, or that no constant is published.
    warnings, sources : tuple of str
        For people.
    """

    leaf_max_c: float
    limit_c: float
    limit_evidence: str
    margin_k: float
    hours_over_limit: float
    kept: tuple[Kept, ...]
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


def assess(
    heat: HeatTrace | StageResult,
    leaf_id: str,
    losses: Sequence[Loss] = (),
    *,
    trace: HeatTrace | None = None,
    leaf_c_sd: float = 0.0,
    fired: bool = False,
) -> Quality:
    """Judge the heat of a run.

    Parameters
    ----------
    heat : HeatTrace or StageResult
        A trace, or the result of a dryer, trough, sun-dried or waiting load.
    leaf_id : str
        Leaf profile.
    losses : sequence of Loss
        The works' own constants; each replaces "no published constant" for its ``what``.
    trace : HeatTrace or None
        A finer trace than the result carries, see `dryer_trace`.
    leaf_c_sd : float
        Standard uncertainty of the leaf temperature, common to all points, K.
    fired : bool
        A bare trace is that of a firing (a dryer's result always is): tea has then to reach its
        least temperature.

    Raises
    ------
    BadInput
        For an unknown leaf, or a result without a course of leaf temperature.
    """
    profile = leaf.profile(leaf_id)
    dryer = heat if isinstance(heat, DryResult) else None
    if trace is None:
        trace = heat if isinstance(heat, HeatTrace) else trace_of(heat)
    hottest = float(np.max(trace.leaf_c))
    if isinstance(heat, StageResult):
        hottest = max(hottest, heat.leaf_temperature_max_c)
    limit = profile.figure("leaf_temperature_max_c")
    rules: list[Rule] = []
    if dryer is not None or fired:
        over = float(np.max(trace.hours_above(HARM_C)))
        rules += tea_heat(leaf_id, profile, hottest, over)
    if dryer is not None:
        air = drying_air(dryer)
        rules += stewing(profile, air.exhaust_c, air.minutes) + case_hardening(profile, air)
    given = {loss.what: loss for loss in losses}
    wanted = MATTERS.get(leaf_id, MATTERS.get(profile.crop, MATTERS_ELSE))
    rows = [
        kept(trace, given[w], leaf_c_sd) if w in given else no_constant(w, profile.crop)
        for w in dict.fromkeys([*wanted, *given])
    ]
    sources = [f"{leaf.source_of(limit).cite()} [{limit.evidence}]"]
    sources += [s for rule in rules for s in rule.sources]
    if given:
        sources += [FIRST_ORDER, *(loss.source for loss in given.values())]
    return Quality(
        leaf_max_c=hottest,
        limit_c=limit.value,
        limit_evidence=str(limit.evidence),
        margin_k=limit.value - hottest,
        hours_over_limit=float(np.max(trace.hours_above(limit.value))),
        kept=tuple(rows),
        warnings=(*too_hot(profile, hottest), *(rule.sentence for rule in rules)),
        sources=tuple(dict.fromkeys(sources)),
    )


def drying_air(result: DryResult) -> DryingAir:
    """The air of a dryer's run, as the rules see it."""
    leaving = tuple(z.moisture_wb_out for z in result.zones)
    return DryingAir(
        inlet_c=tuple(z.inlet_c for z in result.zones),
        entering_wb=entering_wb(result.curve_moisture_wb[0], leaving),
        exhaust_c=result.exhaust_c,
        minutes=60.0 * result.curve_time_h[-1],
        fluid_bed=result.minimum_fluidisation_m_s is not None,
    )
