"""Blanching: leaf goes through hot water, warms in seconds and gives salts and iodine to the bath.

The model holds blades as thin slabs in well-mixed water. Dissolved matter leaves toward the
concentration of the bath, which loads up through the day and is refreshed or dumped. Water, dry
matter, iodine and energy are counted on both sides. Left out: damage to texture and colour,
evaporation from drained leaf, chemistry of iodine, and uneven stirring.
"""

from __future__ import annotations

from wareleaf.stages.blanch_aim import BlanchProjection, Limits, aim, project
from wareleaf.stages.blanch_run import simulate
from wareleaf.stages.blanch_spec import SPECIES, Bath, BlanchResult, BlanchRun

__all__ = [
    "SPECIES",
    "Bath",
    "BlanchProjection",
    "BlanchResult",
    "BlanchRun",
    "Limits",
    "aim",
    "project",
    "simulate",
]
