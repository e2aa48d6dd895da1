"""What a belt is in time: its stretches, and what came off it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from wareleaf.stages._dry_cell import Air, Bed
from wareleaf.stages._dry_spec import Zone
from wareleaf.stages.common import Array


@dataclass(frozen=True)
class TransientResult:
    """What leaves the belt, hour by hour.

    Parameters
    ----------
    time_h : tuple of float
        Ends of the time steps.
    product_kg_h : tuple of float
        Leaf that leaves.
    moisture_wb_out : tuple of float
        Of that leaf (where next to nothing leaves: of the trace that does).
    load : tuple of float
        Load at the outlet over that of full feed.
    exhaust_c : tuple of tuple of float
        By zone.
    leaf_temperature_max_c : tuple of float
        Anywhere on the belt.
    moisture_wb_steady : float
        Where it settles.
    wet_kg, dry_kg : float
        Product wetter and drier than the steady moisture by more than the tolerance.
    water_residual, energy_residual : float
        Relative closure of all that entered, left and stayed.
    """

    time_h: tuple[float, ...]
    product_kg_h: tuple[float, ...]
    moisture_wb_out: tuple[float, ...]
    load: tuple[float, ...]
    exhaust_c: tuple[tuple[float, ...], ...]
    leaf_temperature_max_c: tuple[float, ...]
    moisture_wb_steady: float
    wet_kg: float
    dry_kg: float
    water_residual: float
    energy_residual: float


@dataclass(eq=False)
class Stretch:
    """A zone in time: (column, layer) numbered from the air's side; ``load`` kg/m2 dry matter."""

    zone: Zone
    bed: Callable[[Array, float, float], Bed]
    part: float
    dt_zone_s: float
    area_m2: float
    x: Array
    c: Array
    load: Array
    hidden: Array
    inlet_c: float
    inlet_ratio: float
    half: Air = field(init=False)

    def __post_init__(self) -> None:
        zero = np.zeros_like(self.x)
        self.half = Air(zero, zero.copy())

    @property
    def side(self) -> slice:
        """Order of the layers as the air meets them."""
        return slice(None, None, -1) if self.zone.direction == "down" else slice(None)
