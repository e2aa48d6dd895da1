"""How fast a leaf gives up water: the internal, falling-rate constant k in dX/dt = -k (X - Xe).

k = k_ref exp(-(Ea/R)(1/T - 1/T_ref)) (v/v_ref)^power: Arrhenius in air temperature and a power
of air velocity, the two relations Panchariya et al. 2002 report for black tea (abstract read).
Above ``plateau_c`` temperature no longer helps (Bifurcaria: no further rise from 60 to 75 degC).
"""

from __future__ import annotations

import math

import numpy as np

from wareleaf.leaf._arrays import Number, as_given
from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.leaf.profiles import REGIMES, LeafProfile, RateLaw
from wareleaf.measure import require


def _law(profile: LeafProfile, regime: str) -> RateLaw:
    require(
        regime in REGIMES,
        "regime",
        regime,
        f"regime is {regime!r}; it must be dry (a dryer) or wither (15 to 40 degC, thin layer).",
    )
    return profile.dry if regime == "dry" else profile.wither


def rate_constant_per_h(
    profile: LeafProfile, air_temperature_c: Number, air_velocity_m_s: Number, regime: str
) -> Number:
    """Falling-rate constant of one leaf in its layer, 1/h.

    Parameters
    ----------
    profile : LeafProfile
        The leaf.
    air_temperature_c, air_velocity_m_s : float or ndarray
        Of the air at the leaf; velocity 0 or more (on the empty cross-section).
    regime : str
        ``dry`` for dryers, ``wither`` for 15 to 40 degC in a thin layer.

    Raises
    ------
    BadInput
        Velocity below 0 or an unknown regime.
    """
    law = _law(profile, regime)
    v = np.asarray(air_velocity_m_s, dtype=float)
    require(
        bool(np.all((v >= 0.0) & np.isfinite(v))),
        "air_velocity_m_s",
        float(np.min(v)),
        f"air_velocity_m_s is {np.min(v):g}; it must be 0 or more.",
    )
    t = np.minimum(np.asarray(air_temperature_c, dtype=float), law.plateau_c) + KELVIN
    slope = law.activation_j_mol / GAS_CONSTANT_J_MOL_K
    heat = np.exp(-slope * (1.0 / t - 1.0 / (law.reference_c + KELVIN)))
    wind = (v / law.reference_velocity_m_s) ** law.velocity_power
    return as_given(law.rate_per_h * heat * wind)


def rate_constant_relative_sd(profile: LeafProfile, regime: str) -> float:
    """Lot-to-lot relative standard deviation of the rate constant."""
    return _law(profile, regime).relative_sd


def slab_rate_constant_per_h(diffusivity_m2_s: float, half_thickness_m: float) -> float:
    """First-term rate constant of a slab dried from both faces, k = pi^2 D/(4 L^2), 1/h.

    Crank's series for a slab (from memory), first term. A published diffusivity goes only with
    the thickness of its own paper.
    """
    per_s = math.pi**2 * diffusivity_m2_s / (4.0 * half_thickness_m**2)
    return per_s * 3600.0
