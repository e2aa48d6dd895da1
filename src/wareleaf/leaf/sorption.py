"""Water activity and equilibrium moisture of a leaf profile, both branches, with its salt.

The organic matter follows the profile's isotherm; dissolving salt adds its brine (see
`leaf.salt`). Hysteresis: a leaf that dries (desorption) holds at least as much water as one that
takes water up (adsorption), so the desorption branch is never let below the adsorption branch.
Outside the temperatures of the isotherm, moisture at equal water activity shrinks by a fixed
share per kelvin from its value at the edge (an extrapolation, stated in each profile).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from wareleaf.leaf._arrays import Array, Number, as_given
from wareleaf.leaf._checks import checked_activity, checked_moisture
from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.leaf.models import MODELS
from wareleaf.leaf.profiles import BranchModel, LeafProfile
from wareleaf.leaf.salt import (
    WATER_KG_MOL,
    check_salt,
    salted_moisture_db,
    salted_water_activity,
)

# Several isotherms rise without limit at 1. Living leaf is turgid at 0.99 to 0.995 (from memory),
# so equilibrium moisture is that of this water activity in damper air.
WATER_ACTIVITY_TOP = 0.995
LEAST_MOISTURE_DB = 1e-3  # a bare model drier than this is given the heat there


def equilibrium_moisture_db(
    profile: LeafProfile,
    water_activity: Number,
    temperature_c: Number,
    branch: str = "desorption",
) -> Number:
    """Moisture of leaf in equilibrium with air, kg water per kg dry matter.

    Parameters
    ----------
    profile : LeafProfile
        The leaf.
    water_activity : float or ndarray
        Relative humidity of the air as a fraction, 0 to 1 (held at `WATER_ACTIVITY_TOP` above it).
    temperature_c : float or ndarray
        Degrees C.
    branch : str
        ``desorption`` (drying leaf) or ``adsorption`` (dry leaf taking water up).

    Raises
    ------
    BadInput
        Water activity outside 0 to 1, or an unknown branch.
    """
    aw = checked_activity(water_activity, top=1.0 + 1e-9)
    aw = np.minimum(aw, WATER_ACTIVITY_TOP)
    return as_given(_total(profile, aw, temperature_c, branch))


def water_activity(
    profile: LeafProfile,
    moisture_db: Number,
    temperature_c: Number,
    branch: str = "desorption",
) -> Number:
    """Water activity of leaf at a moisture, a fraction; the inverse of equilibrium moisture.

    Leaf wetter than its isotherm reaches holds free water: its water activity is 1.

    Raises
    ------
    BadInput
        Moisture below 0 or not finite, or an unknown branch.
    """
    db = np.maximum(checked_moisture(moisture_db, least=-1e-9), 0.0)
    nacl, kcl = profile.salt_nacl_fraction, profile.salt_kcl_fraction
    if nacl + kcl == 0.0:
        return as_given(_organic_water_activity(profile, db, temperature_c, branch))
    wanted, t = np.broadcast_arrays(db, np.asarray(temperature_c, dtype=float))
    return as_given(
        salted_water_activity(
            lambda aw: _organic_moisture_db(profile, aw, t, branch),
            lambda organic: _organic_water_activity(profile, organic, t, branch),
            wanted,
            t,
            (nacl, kcl),
        )
    )


def net_isosteric_heat_j_kg(
    profile: LeafProfile,
    moisture_db: Number,
    temperature_c: Number,
    branch: str = "desorption",
) -> Number:
    """Heat above that of evaporation needed to free water from leaf, J per kg water.

    Clausius-Clapeyron at constant moisture: q = R T^2 (d ln aw / dT) / M_w, by a central
    difference over 1 K. It is slightly below 0 where a dissolving salt rules (heat of solution)
    and 0 in free water. Leaf drier than the profile's ``heat_least_moisture_db``, the driest for
    which a heat was published, is given the heat there: the models rise without limit below it.
    """
    least = profile.heat_least_moisture_db
    return _isosteric_heat(
        lambda db, t: np.asarray(water_activity(profile, db, t, branch)),
        np.maximum(checked_moisture(moisture_db, least=-1e-9), least),
        temperature_c,
    )


def moisture_of_model_db(
    model: str,
    parameters: Mapping[str, float],
    water_activity: Number,
    temperature_c: Number,
    salts: tuple[float, float] = (0.0, 0.0),
) -> Number:
    """Moisture of a bare model with its constants, kg/kg.

    ``salts`` are NaCl and KCl as shares of the dry matter; the constants are then those of the
    organic matter.
    """
    check_salt(*salts)
    organic = MODELS[model].moisture_db(water_activity, temperature_c, **parameters)
    if sum(salts) == 0.0:
        return organic
    return as_given(salted_moisture_db(organic, *salts, water_activity, temperature_c))


def water_activity_of_model(
    model: str,
    parameters: Mapping[str, float],
    moisture_db: Number,
    temperature_c: Number,
    salts: tuple[float, float] = (0.0, 0.0),
) -> Number:
    """Water activity of a bare model with its constants, the inverse of `moisture_of_model_db`."""
    check_salt(*salts)
    known = MODELS[model]
    if sum(salts) == 0.0:
        return known.water_activity(moisture_db, temperature_c, **parameters)
    wanted, t = np.broadcast_arrays(
        np.asarray(moisture_db, dtype=float), np.asarray(temperature_c, dtype=float)
    )
    return as_given(
        salted_water_activity(
            lambda aw: np.asarray(known.moisture_db(aw, t, **parameters)),
            lambda organic: np.asarray(known.water_activity(organic, t, **parameters)),
            wanted,
            t,
            salts,
        )
    )


def isosteric_heat_of_model_j_kg(
    model: str,
    parameters: Mapping[str, float],
    moisture_db: Number,
    temperature_c: Number,
    salts: tuple[float, float] = (0.0, 0.0),
) -> Number:
    """Net isosteric heat of a bare model with its constants, J per kg water."""
    return _isosteric_heat(
        lambda db, t: np.asarray(water_activity_of_model(model, parameters, db, t, salts)),
        moisture_db,
        temperature_c,
    )


def _isosteric_heat(
    activity: Callable[[Array, Array], Array], moisture_db: Number, temperature_c: Number
) -> Number:
    db = np.maximum(np.asarray(moisture_db, dtype=float), LEAST_MOISTURE_DB)
    t = np.asarray(temperature_c, dtype=float)
    low, high = activity(db, t - 0.5), activity(db, t + 0.5)
    slope = np.log(np.maximum(high, 1e-300)) - np.log(np.maximum(low, 1e-300))
    return as_given(GAS_CONSTANT_J_MOL_K * (t + KELVIN) ** 2 * slope / WATER_KG_MOL)


def range_warnings(profile: LeafProfile, temperature_c: float, water_activity: float) -> list[str]:
    """One sentence for each of temperature and water activity that the isotherm does not cover."""
    found = []
    low, high = profile.sorption_temperature_min_c, profile.sorption_temperature_max_c
    if not low <= temperature_c <= high:
        found.append(
            f"{temperature_c:g} degrees C is outside the isotherm's {low:g} to {high:g}: "
            "extrapolated."
        )
    low, high = profile.sorption_water_activity_min, profile.sorption_water_activity_max
    if not low - 1e-9 <= water_activity <= high + 1e-9:
        found.append(
            f"Water activity {water_activity:.3g} is outside the isotherm's {low:g} to {high:g}: "
            "extrapolated."
        )
    return found


def _total(profile: LeafProfile, aw: Array, temperature_c: Number, branch: str) -> Array:
    """Moisture of organic matter and salt together, per kg dry matter."""
    organic = _organic_moisture_db(profile, aw, temperature_c, branch)
    nacl, kcl = profile.salt_nacl_fraction, profile.salt_kcl_fraction
    if nacl + kcl == 0.0:
        return organic
    return salted_moisture_db(organic, nacl, kcl, aw, temperature_c)


def _inside(profile: LeafProfile, temperature_c: Number) -> tuple[Array, Array]:
    """Temperature held in the isotherm's range, and the factor on moisture beyond it."""
    t = np.asarray(temperature_c, dtype=float)
    held = np.clip(t, profile.sorption_temperature_min_c, profile.sorption_temperature_max_c)
    return held, np.exp(-profile.sorption_shift_per_k * (t - held))


def _organic_moisture_db(
    profile: LeafProfile, aw: Array, temperature_c: Number, branch: str
) -> Array:
    held, factor = _inside(profile, temperature_c)

    def moisture(model: BranchModel) -> Array:
        return np.asarray(MODELS[model.model].moisture_db(aw, held, **model.keywords()))

    result = moisture(profile.branch_model(branch))
    if branch == "desorption":
        result = np.maximum(result, moisture(profile.adsorption))
    return result * factor


def _organic_water_activity(
    profile: LeafProfile, db: Array, temperature_c: Number, branch: str
) -> Array:
    held, factor = _inside(profile, temperature_c)

    def activity(model: BranchModel) -> Array:
        return np.asarray(MODELS[model.model].water_activity(db / factor, held, **model.keywords()))

    result = activity(profile.branch_model(branch))
    if branch == "desorption":
        result = np.minimum(result, activity(profile.adsorption))
    return result
