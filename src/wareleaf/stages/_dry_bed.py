"""The bed as the air sees it: heat transfer, pressure drop and minimum fluidisation."""

from __future__ import annotations

import numpy as np

from wareleaf.stages._dry_figures import number
from wareleaf.stages.common import Array

_GRAVITY_M_S2 = 9.80665


def transfer_w_m2_k(mass_flux_kg_m2_s: Array, half_thickness_m: float) -> Array:
    """Heat transfer coefficient in through-circulation of a bed, W/(m2 K).

    ``h = 0.214 G^0.49 / Dp^0.51`` below Re 350 and ``0.151 G^0.59 / Dp^0.41`` above, G in
    kg/(h m2) (Geankoplis 1993, section 9.7; recalled). The larger of the two is taken, which meets
    them within a few per cent at the change and has no jump.

    Parameters
    ----------
    mass_flux_kg_m2_s : ndarray
        Humid air, kg/(s m2) of bed.
    half_thickness_m : float
        Of the leaf; ``Dp`` is that of a sphere of the same surface by volume, six half thicknesses.
    """
    per_h, size = mass_flux_kg_m2_s * 3600.0, 6.0 * half_thickness_m
    slow = number("bed.h_low_factor") * per_h ** number("bed.h_low_power")
    fast = number("bed.h_high_factor") * per_h ** number("bed.h_high_power")
    return np.maximum(
        slow / size ** number("bed.h_low_size_power"),
        fast / size ** number("bed.h_high_size_power"),
    )


def void_fraction(bulk_density_kg_m3: float) -> float:
    """Air between the leaves, from the bulk density of the wet bed."""
    void = 1.0 - bulk_density_kg_m3 / number("bed.leaf_density_kg_m3")
    return min(max(void, 0.2), 0.99)


def packed_drop_pa(
    velocity_m_s: float,
    air_kg_m3: float,
    depth_m: float,
    bulk_density_kg_m3: float,
    half_thickness_m: float,
) -> float:
    """Pressure drop through a resting bed, Pa: Ergun's equation.

    Parameters
    ----------
    velocity_m_s, air_kg_m3 : float
        Superficial velocity and density of the air.
    depth_m, bulk_density_kg_m3 : float
        Of the bed as loaded (it shrinks on the way, so this is the high side).
    half_thickness_m : float
        Of the leaf, for the particle size.
    """
    void = void_fraction(bulk_density_kg_m3)
    size, mu = 6.0 * half_thickness_m, number("bed.air_viscosity_pa_s")
    viscous = number("bed.ergun_viscous") * mu * (1 - void) ** 2 * velocity_m_s
    inertial = number("bed.ergun_inertial") * air_kg_m3 * (1 - void) * velocity_m_s**2
    return depth_m * (viscous / (void**3 * size**2) + inertial / (void**3 * size))


def fluid_drop_pa(loading_kg_m2: float) -> float:
    """Pressure drop through a fluidised bed, Pa: the weight of the solids on the plate."""
    return loading_kg_m2 * _GRAVITY_M_S2


def minimum_fluidisation_m_s(
    particle_m: float, particle_density_kg_m3: float, air_kg_m3: float
) -> float:
    """Superficial velocity at which a bed of particles begins to float, m/s.

    ``Re = sqrt(33.7^2 + 0.0408 Ar) - 33.7`` (Wen and Yu 1966; recalled). For the feed of an
    orthodox tea bed it stands beside the published 0.74 to 1.0 m/s (abstract, Moratuwa).

    Parameters
    ----------
    particle_m, particle_density_kg_m3 : float
        Of the wet particle.
    air_kg_m3 : float
        Density of the air at the plate.
    """
    mu = number("bed.air_viscosity_pa_s")
    archimedes = (
        particle_m**3 * air_kg_m3 * (particle_density_kg_m3 - air_kg_m3) * _GRAVITY_M_S2 / mu**2
    )
    a, b = number("fluid_bed.wen_yu_a"), number("fluid_bed.wen_yu_b")
    reynolds = float(np.sqrt(a * a + b * archimedes)) - a
    return reynolds * mu / (air_kg_m3 * particle_m)
