"""Trough withering: leaf on a net gives water to the air that a fan blows through it.

Layers of leaf, air that cools and moistens as it rises (or sinks, when it is turned round),
heater, fan, weather by the hour, rain on the leaf. The model conserves water and energy; a wet
leaf sits at the wet bulb, an inner resistance slows the wither down. Left out: shrinking and
settling of the bed, heat of respiration, losses through the trough's walls, evaporation while the
fan stands, and the heat of sorption (leaf stays above 40 % dry basis). Chemical wither is kept
apart as hours since plucking.
"""

from wareleaf.stages._wither_aim import aim, driest_reachable_wb
from wareleaf.stages._wither_by_rate import by_rate
from wareleaf.stages._wither_project import READS, WitherProjection, project
from wareleaf.stages._wither_simulate import simulate
from wareleaf.stages._wither_spec import Trough, WitherResult, WitherRun

__all__ = [
    "READS",
    "Trough",
    "WitherProjection",
    "WitherResult",
    "WitherRun",
    "aim",
    "by_rate",
    "driest_reachable_wb",
    "project",
    "simulate",
]
