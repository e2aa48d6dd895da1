"""Moisture on a wet and on a dry basis, and the dry matter that never changes.

Wet basis (wb) is water over total mass, dry basis (db) is water over dry matter; both are
fractions. All functions take scalars or arrays.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from wareleaf.measure.errors import require

Number = TypeVar("Number", float, NDArray[np.float64])


def _check_wb(moisture_wb: Number) -> None:
    low, high = float(np.min(moisture_wb)), float(np.max(moisture_wb))
    inside = low >= 0.0 and high < 1.0
    value = low if low < 0.0 else high
    require(
        inside,
        "moisture_wb",
        value,
        f"moisture_wb is {value:g}; wet-basis moisture must be from 0 up to, not including, 1.",
    )


def _check_db(moisture_db: Number) -> None:
    low, high = float(np.min(moisture_db)), float(np.max(moisture_db))
    inside = low >= 0.0 and np.isfinite(high)
    value = low if low < 0.0 else high
    require(
        bool(inside),
        "moisture_db",
        value,
        f"moisture_db is {value:g}; dry-basis moisture must be a finite number of 0 or more.",
    )


def moisture_db_from_wb(moisture_wb: Number) -> Number:
    """Dry-basis moisture, kg water per kg dry matter.

    Parameters
    ----------
    moisture_wb : float or ndarray
        Wet-basis moisture, kg water per kg total, 0 <= wb < 1.

    Returns
    -------
    float or ndarray
        ``wb / (1 - wb)`` (definition).

    Raises
    ------
    BadInput
        Outside the valid range.
    """
    _check_wb(moisture_wb)
    return moisture_wb / (1.0 - moisture_wb)


def moisture_wb_from_db(moisture_db: Number) -> Number:
    """Wet-basis moisture, kg water per kg total.

    Parameters
    ----------
    moisture_db : float or ndarray
        Dry-basis moisture, kg water per kg dry matter, 0 or more.

    Returns
    -------
    float or ndarray
        ``db / (1 + db)`` (definition).

    Raises
    ------
    BadInput
        Outside the valid range.
    """
    _check_db(moisture_db)
    return moisture_db / (1.0 + moisture_db)


def dry_matter_kg(mass_kg: Number, moisture_wb: Number) -> Number:
    """Dry matter in a mass of leaf, kg (definition of wet basis)."""
    _check_wb(moisture_wb)
    return mass_kg * (1.0 - moisture_wb)


def water_kg(mass_kg: Number, moisture_wb: Number) -> Number:
    """Water in a mass of leaf, kg (definition of wet basis)."""
    _check_wb(moisture_wb)
    return mass_kg * moisture_wb


def mass_at_moisture_kg(mass_kg: float, moisture_wb: float, to_moisture_wb: float) -> float:
    """Mass after drying or wetting to another moisture with dry matter conserved, kg."""
    _check_wb(to_moisture_wb)
    return dry_matter_kg(mass_kg, moisture_wb) / (1.0 - to_moisture_wb)
