"""Rolling and cutting: the leaf's cells are broken, the motor's work warms it, little water goes.

A charge is one body. The motor's power becomes heat in the leaf; the leaf loses heat and, by the
same transfer (Lewis number 1), water vapour to the room. Broken cells follow a first-order law
whose rate rises with pressure; its constants are own assumptions until a works counts them. Left
out: juice that drips, ball breaking, and uneven charges.
"""

from __future__ import annotations

from wareleaf.stages.roll_aim import aim, project
from wareleaf.stages.roll_run import Roller, RollResult, RollRun, disruption_rate_per_min, simulate

__all__ = [
    "RollResult",
    "RollRun",
    "Roller",
    "aim",
    "disruption_rate_per_min",
    "project",
    "simulate",
]
