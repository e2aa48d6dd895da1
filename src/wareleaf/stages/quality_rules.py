"""Stewing, case hardening and harm: what air and leaf temperature say, each rule with its source.

Two faults of opposite cause. Leaf that stays wet and warm too long stews; a surface that dries much
faster than water comes from inside sets hard over a wet middle. No published rule gives a number
for case hardening: what is said of it rests on usual inlet air and is a reason to cut a leaf open.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from wareleaf import leaf
from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages.common import cite, stage_figures

_OWN, _DRY = stage_figures("quality"), stage_figures("dry")


@dataclass(frozen=True)
class DryingAir:
    """The air of a drying run.

    Parameters
    ----------
    inlet_c, entering_wb : tuple of float
        Of each zone: inlet air, and moisture of the leaf that enters it.
    exhaust_c : float
        All exhausts together.
    minutes : float
        In the dryer.
    fluid_bed : bool
        Else a bed that air passes through.
    """

    inlet_c: tuple[float, ...]
    entering_wb: tuple[float, ...]
    exhaust_c: float
    minutes: float
    fluid_bed: bool


@dataclass(frozen=True)
class Rule:
    """What a rule says, and what it rests on."""

    sentence: str
    sources: tuple[str, ...]


def too_hot(profile: leaf.LeafProfile, hottest_c: float) -> list[str]:
    """The hottest leaf passes the limit of its profile."""
    limit = profile.leaf_temperature_max_c
    if hottest_c <= limit:
        return []
    return [
        f"The leaf reaches {hottest_c:.0f} degC; above {limit:.0f} degC {profile.name} loses "
        "quality."
    ]


def stewing(profile: leaf.LeafProfile, exhaust_c: float, minutes: float) -> list[Rule]:
    """Tea stews in a cool exhaust, unless it is dry in under a quarter of an hour."""
    low, brief = _DRY["tea.exhaust_low_c"], _OWN["tea.no_stewing_min"]
    if profile.crop != "tea" or exhaust_c >= low.value or minutes < brief.value:
        return []
    said = (
        f"The exhaust is at {exhaust_c:.0f} degC; below about {low.value:.0f} degC the leaf "
        "stews (it goes on oxidising wet and warm)."
    )
    return [Rule(said, cite([low, brief]))]


def case_hardening(profile: leaf.LeafProfile, air: DryingAir) -> list[Rule]:
    """Wet leaf in air that is hotter than usual may set hard outside before it is dry inside."""
    critical = moisture_wb_from_db(profile.critical_moisture_db)
    wet = [t for t, m in zip(air.inlet_c, air.entering_wb, strict=True) if m > critical]
    if profile.crop == "tea":
        kind = "fluid_bed" if air.fluid_bed else "chain"
        figure = _OWN[f"tea.{kind}_inlet_high_c"]
        where = "usual for a fluid bed" if air.fluid_bed else "usual for a chain dryer"
    else:
        figure = _OWN["other.case_hardening_c"]
        where = "above which apple hardened; no limit is published for this leaf"
    hottest = max(wet, default=-273.0)
    if hottest <= figure.value:
        return []
    said = (
        f"Wet leaf meets air of {hottest:.0f} degC, above {figure.value:.0f} degC ({where}): watch "
        "for case hardening. Cut a leaf open: dry outside and wet inside means cooler first air."
    )
    return [Rule(said, cite([figure]))]


def tea_heat(
    leaf_id: str, profile: leaf.LeafProfile, hottest_c: float, over_h: float
) -> list[Rule]:
    """How hot a tea particle must and may get.

    Parameters
    ----------
    leaf_id, profile
        The leaf.
    hottest_c : float
        Hottest leaf, degC.
    over_h : float
        Hours of the hottest leaf above ``tea.particle_harm_c``.
    """
    if profile.crop != "tea":
        return []
    harm, brief = _OWN["tea.particle_harm_c"], _OWN["tea.particle_brief_c"]
    least, minute = _OWN["black_tea.particle_least_c"], _OWN["tea.particle_brief_min"]
    if leaf_id == "tea_black" and hottest_c < least.value:
        said = (
            f"The hottest leaf is at {hottest_c:.0f} degC; fired black tea must see at least "
            f"{least.value:.0f} degC."
        )
        return [Rule(said, cite([least]))]
    if hottest_c > brief.value or 60.0 * over_h > minute.value:
        said = (
            f"Leaf is above {harm.value:.0f} degC for {60.0 * over_h:.0f} min (hottest "
            f"{hottest_c:.0f} degC): harmful; up to {brief.value:.0f} degC is borne for less than "
            f"{minute.value:.0f} min."
        )
        return [Rule(said, cite([harm, brief, minute]))]
    return []


def entering_wb(moisture_wb: float, leaving_wb: tuple[float, ...]) -> tuple[float, ...]:
    """Moisture of the leaf that enters each zone, from the feed and what leaves each zone."""
    return tuple(a for a, _ in pairwise((moisture_wb, *leaving_wb)))


HARM_C = _OWN["tea.particle_harm_c"].value
