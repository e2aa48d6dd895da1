"""Drying: warm air takes the water from leaf on a belt, on trays or in a fluid bed.

Wet leaf dries at the pace at which air takes water from its surface and stays near the wet bulb;
later water comes from inside at a falling rate and the leaf warms towards the air. The model keeps
layers in depth (air cools and moistens as it passes them) and zones along the way, each with its
own air, part of it recirculated. It leaves out: shrinkage of the bed, uneven air across the belt,
heat-up of the machine, and heat of the fans (which helps the heater, so heat is on the high side).

`simulate` says what comes out, `aim` what to set, `project` what the readings say, `spread` how
sure it is. Equations stand in `_dry_cell`, `_dry_solve` and `_dry_bed`; constants in
``data/dry.csv``; the operator's story in ``docs/understand/drying.md``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_aim import aim
from wareleaf.stages._dry_bed import minimum_fluidisation_m_s
from wareleaf.stages._dry_by_rate import by_rate
from wareleaf.stages._dry_heat_source import HeatSupply
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_many import ManyResult, Varied, simulate_many
from wareleaf.stages._dry_project import DryProjection, project
from wareleaf.stages._dry_result import DryResult, ZoneResult
from wareleaf.stages._dry_run import simulate
from wareleaf.stages._dry_solve import solve
from wareleaf.stages._dry_spec import BeltDryer, Dryer, Fan, FluidBed, Heater, TrayDryer, Zone
from wareleaf.stages._dry_spread import NAMES, cubature, deviations, drawn, sample, vary
from wareleaf.stages._dry_transient import transient
from wareleaf.stages._dry_transient_state import TransientResult
from wareleaf.stages._dry_tunnel import simulate_tunnel
from wareleaf.stages._dry_tunnel_aim import aim_tunnel
from wareleaf.stages._dry_tunnel_result import TunnelResult
from wareleaf.stages._dry_tunnel_spec import TunnelDryer
from wareleaf.stages.common import spread_wb

__all__ = [
    "BeltDryer",
    "DryProjection",
    "DryResult",
    "DryRun",
    "Dryer",
    "Fan",
    "FluidBed",
    "HeatSupply",
    "Heater",
    "ManyResult",
    "Spread",
    "TransientResult",
    "TrayDryer",
    "TunnelDryer",
    "TunnelResult",
    "Varied",
    "Zone",
    "ZoneResult",
    "aim",
    "aim_tunnel",
    "by_rate",
    "drawn",
    "minimum_fluidisation_m_s",
    "project",
    "simulate",
    "simulate_many",
    "simulate_tunnel",
    "spread",
    "transient",
]


@dataclass(frozen=True)
class Spread:
    """Outlet moisture as a distribution.

    Parameters
    ----------
    mean, sd : float
        Of the outlet moisture, wet basis.
    low, high : float
        Its 2.5 and 97.5 % points (normal when computed from the cubature rule).
    shares : dict of str to float
        Part of the variance that each uncertain input alone brings; they add to 1.
    """

    mean: float
    sd: float
    low: float
    high: float
    shares: dict[str, float]


def spread(dryer: Dryer, run: DryRun, n: int | None = None) -> Spread:
    """Outlet moisture with its spread from feed moisture, load, air and rate.

    Parameters
    ----------
    dryer, run
        As for `simulate`.
    n : int or None
        Count of Latin-hypercube scenarios; ``None``: the third-degree cubature rule, which is what
        `simulate` uses.
    """
    check_run(dryer, run)
    points, weights = cubature(run) if n is None else sample(n)
    out = moisture_wb_from_db(solve(dryer, run, vary(dryer, run, points)).moisture_db)
    mean, sd = spread_wb(out, weights)
    if n is None:
        low, high = max(0.0, mean - 1.96 * sd), mean + 1.96 * sd
    else:
        low, high = (float(v) for v in np.quantile(out, [0.025, 0.975]))
    return Spread(mean, sd, low, high, _shares(dryer, run))


def _shares(dryer: Dryer, run: DryRun) -> dict[str, float]:
    """Variance from each input alone: half the difference over one standard deviation each way."""
    points = np.concatenate([np.eye(len(NAMES)), -np.eye(len(NAMES))])
    out = moisture_wb_from_db(solve(dryer, run, vary(dryer, run, points)).moisture_db)
    parts = (0.5 * (out[: len(NAMES)] - out[len(NAMES) :])) ** 2
    parts = np.where(deviations(run) > 0.0, parts, 0.0)
    total = float(parts.sum())
    return {k: float(v) / total if total > 0.0 else 0.0 for k, v in zip(NAMES, parts, strict=True)}
