"""Milling: dry leaf is broken to flake or powder; the work warms it and the air takes dust.

Work follows Bond, Rittinger or Kick with a constant that a works measures on its own meter. Leaf
and air leave at one temperature; a heat limit guards colour and flavour. Left out: moisture given
to the warm air, classifiers, and the brittleness that moisture changes.
"""

from __future__ import annotations

from wareleaf.stages.mill_aim import MillProjection, aim, project
from wareleaf.stages.mill_law import (
    LAWS,
    bond_kwh_t,
    constant_from,
    kick_kj_kg,
    rittinger_kj_kg,
    work_of,
)
from wareleaf.stages.mill_run import Mill, MillResult, MillRun, fines_share, heat_limit_c, simulate

__all__ = [
    "LAWS",
    "Mill",
    "MillProjection",
    "MillResult",
    "MillRun",
    "aim",
    "bond_kwh_t",
    "constant_from",
    "fines_share",
    "heat_limit_c",
    "kick_kj_kg",
    "project",
    "rittinger_kj_kg",
    "simulate",
    "work_of",
]
