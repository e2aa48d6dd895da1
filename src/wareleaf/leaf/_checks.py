"""Water activities and moistures are looked at before an isotherm uses them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wareleaf.leaf._arrays import Array, Number
from wareleaf.measure import BadInput


def first_where(values: Array, where: NDArray[np.bool_]) -> float:
    """The first value for which a condition holds; the condition may be the wider array."""
    chosen = np.broadcast_to(values, where.shape)[where]
    return float(chosen.flat[0]) if chosen.size else float("nan")


def checked_activity(water_activity: Number, top: float = 1.0) -> Array:
    """Water activity as an array, refused outside 0 to 1 (and above `top` by rounding only)."""
    aw = np.asarray(water_activity, dtype=float)
    inside = (aw >= 0.0) & (aw <= top)
    if not np.all(inside):
        bad = first_where(aw, ~inside)
        raise BadInput("water_activity", bad, f"water_activity is {bad:g}; it must be from 0 to 1.")
    return aw


def checked_open_activity(water_activity: Number, model: str) -> Array:
    """Water activity as an array, refused at 1 where the model has no end."""
    aw = checked_activity(water_activity)
    if not np.all(aw < 1.0):
        raise BadInput(
            "water_activity",
            1.0,
            f"water_activity is 1; the {model} isotherm rises without limit there, "
            "give less than 1.",
        )
    return aw


def checked_moisture(moisture_db: Number, least: float = 0.0) -> Array:
    """Moisture as an array, refused when not finite or below 0 (`least` forgives rounding)."""
    db = np.asarray(moisture_db, dtype=float)
    inside = (db >= least) & np.isfinite(db)
    if not np.all(inside):
        bad = first_where(db, ~inside)
        raise BadInput(
            "moisture_db", bad, f"moisture_db is {bad:g}; it must be a finite number of 0 or more."
        )
    return db
