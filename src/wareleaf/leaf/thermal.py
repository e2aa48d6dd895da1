"""Heat capacity of leaf with its water."""

from __future__ import annotations

import numpy as np

from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.leaf._arrays import Number, as_given
from wareleaf.leaf.profiles import LeafProfile


def specific_heat_j_kg_k(
    profile: LeafProfile, moisture_db: Number, temperature_c: Number
) -> Number:
    """Heat capacity of leaf and its water, J/K per kg DRY MATTER: c_dry + X c_water.

    Siebel's mixture rule (from memory) with the same water as the humid air of this house, so that
    energy balances close. Valid above freezing; it does not vary with temperature, which is taken
    so that callers need not change when a profile brings a law that does.
    """
    db, _ = np.broadcast_arrays(
        np.asarray(moisture_db, dtype=float), np.asarray(temperature_c, dtype=float)
    )
    return as_given(profile.specific_heat_dry_j_kg_k + db * CP_WATER_J_KG_K)
