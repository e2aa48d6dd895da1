"""Holding: harvested leaf waits, warms itself, loses water, and uses up its patience.

The load is one body with heat of respiration and exchange with its surroundings. Each moment uses
a share of the holding and spoiling times that the leaf profile gives at that temperature. Left
out: layers inside a pile, growth of single microbes, bruising, and light.
"""

from __future__ import annotations

from wareleaf.stages.hold_aim import HoldProjection, aim, project
from wareleaf.stages.hold_run import respiration_w_kg, simulate
from wareleaf.stages.hold_spec import HoldResult, HoldRun, Place

__all__ = [
    "HoldProjection",
    "HoldResult",
    "HoldRun",
    "Place",
    "aim",
    "project",
    "respiration_w_kg",
    "simulate",
]
