"""Where the leaf on a machine is between the moisture it came with and its target, now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wareleaf.works.floor import MachineView

BAND = 1.96  # standard deviations on either side that hold 95 % of a normal spread


@dataclass(frozen=True)
class LeafNow:
    """Moisture now with its 95 % band, fractions wet basis, and what it is the moisture of."""

    start_wb: float
    now_wb: float
    low_wb: float
    high_wb: float
    target_wb: float
    words: str


def leaf_now(view: MachineView, now: datetime) -> LeafNow | None:
    """Read the moisture of now off a run's projection; None where there is no target or curve.

    A batch is followed along its curve. A dryer that is fed all the time has no such moment: what
    counts is the leaf that comes off it.
    """
    seen, run = view.prediction, view.run
    if seen is None or run is None or view.target_wb is None or not view.lots:
        return None
    mass = sum(lot.remaining_mass_g for lot in view.lots)
    if not mass:
        return None
    start_wb = 1.0 - sum(lot.remaining_dry_g for lot in view.lots) / mass
    if view.machine.stage == "wither" and seen.curve_time_h:
        hours = (now - run.started_at).total_seconds() / 3600.0
        mid, low, high = (
            float(np.interp(hours, seen.curve_time_h, curve))
            for curve in (seen.curve_moisture_wb, seen.curve_low, seen.curve_high)
        )
        return LeafNow(start_wb, mid, min(low, high), max(low, high), view.target_wb, "Now about")
    spread = BAND * seen.moisture_wb_now_sd
    mid = seen.moisture_wb_now
    return LeafNow(
        start_wb, mid, max(mid - spread, 0.0), mid + spread, view.target_wb, "Comes off at about"
    )
