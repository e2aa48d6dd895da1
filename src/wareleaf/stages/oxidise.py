"""Oxidation: broken leaf lies in moist air, its catechins turn to theaflavin, then brown.

Catechin goes at a rate set by oxygen, broken cells and temperature. A theaflavin takes two
catechins and is lost again with the quinone that oxidation makes, so it peaks; the peak times are
published, the shape around them is not. The bed warms by its own oxidation and is cooled and
slightly dried by its air. Left out: single catechins, thearubigin classes, aroma, uneven beds.
"""

from __future__ import annotations

from wareleaf.stages.oxidise_aim import OxidiseProjection, aim, project
from wareleaf.stages.oxidise_learn import SPEAKS, RateCourses, by_rate, theaflavin_course
from wareleaf.stages.oxidise_rate import CUTS, figure, peak_share, rate_per_min, theaflavin_shape
from wareleaf.stages.oxidise_run import OxidiseResult, simulate
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun

__all__ = [
    "CUTS",
    "SPEAKS",
    "Floor",
    "OxidiseProjection",
    "OxidiseResult",
    "OxidiseRun",
    "RateCourses",
    "aim",
    "by_rate",
    "figure",
    "peak_share",
    "project",
    "rate_per_min",
    "simulate",
    "theaflavin_course",
    "theaflavin_shape",
]
