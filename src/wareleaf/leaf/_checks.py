"""Water activities and moistures are looked at before an isotherm uses them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wareleaf.leaf._arrays import Array, Number
from wareleaf.measure import require


def checked_activity(water_activity: Number) -> Array:
    """Water activity as an array, refused outside 0 to 1."""
    aw = np.asarray(water_activity, dtype=float)
    inside = bool(np.all((aw >= 0.0) & (aw <= 1.0)))
    require(
        inside,
        "water_activity",
        first_where(aw, ~((aw >= 0.0) & (aw <= 1.0))),
        f"water_activity is {first_where(aw, ~((aw >= 0.0) & (aw <= 1.0)))}; it must be from 0 to 1.",
    )
    return aw


def checked_open_activity(water_activity: Number, model: str) -> Array:
    """Water activity as an array, refused at 1 where the model has no end."""
    aw = checked_activity(water_activity)
    require(
        bool(np.all(aw < 1.0)),
        "water_activity",
        1.0,
        f"water_activity is 1; the {model} isotherm rises without limit there, give less than 1.",
    )
    return aw


def checked_moisture(moisture_db: Number) -> Array:
    """Moisture as an array, refused below 0 or not finite."""
    db = np.asarray(moisture_db, dtype=float)
    inside = (db >= 0.0) & np.isfinite(db)
    require(
        bool(np.all(inside)),
        "moisture_db",
        first_where(db, ~inside),
        f"moisture_db is {first_where(db, ~inside)}; it must be a finite number of 0 or more.",
    )
    return db


def first_where(values: Array, where: NDArray[np.bool_]) -> float:
    """The first value for which a condition holds."""
    chosen = np.atleast_1d(values)[np.atleast_1d(where)]
    return float(chosen[0]) if chosen.size else float("nan")
