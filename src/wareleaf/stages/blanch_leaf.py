"""A blade in hot water: how it warms, what it gives off, what survives.

The blade is a thin slab. Its mean temperature follows the first term of the slab series (the
lumped body when the Biot number is small); the bath cools by what the blade takes. Ions leave by a
first-order step toward the concentration of the bath; a part is bound and never leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.stages.blanch_spec import figure
from wareleaf.stages.common import Array
from wareleaf.stages.lethality import equivalent_time_s


@dataclass(frozen=True)
class Heating:
    """Temperatures of one basket from entry to exit: seconds, mean and middle of the blade."""

    time_s: Array
    mean_c: Array
    middle_c: Array


def first_root(biot: float) -> float:
    """First root of ``zeta tan(zeta) = Bi``, the slab's slowest mode (any heat-transfer text)."""
    return float(brentq(lambda z: z * math.sin(z) - biot * math.cos(z), 0.0, math.pi / 2.0))


def warm(
    *,
    leaf_c: float,
    bath_c: float,
    leaf_j_k: float,
    bath_j_k: float,
    mass_j_kg_k: float,
    half_thickness_m: float,
    heat_transfer_w_m2_k: float,
    immersion_s: float,
) -> Heating:
    """Warm a basket of blades in a bath that cools by what they take.

    Two bodies exchange heat; their difference decays as ``exp(-t (1 + C_leaf/C_bath)/tau)`` with
    ``tau = L**2/(alpha zeta**2)`` from the first term of the slab series.

    Parameters
    ----------
    leaf_c, bath_c : float
        Temperatures when the basket goes in.
    leaf_j_k, bath_j_k : float
        Heat capacities of the basket's leaf and of the bath.
    mass_j_kg_k : float
        Specific heat of the wet leaf.
    half_thickness_m, heat_transfer_w_m2_k, immersion_s : float
        Slab half thickness, water-side coefficient, time in the water.
    """
    conductivity = figure("leaf.conductivity_w_m_k")
    diffusivity = conductivity / (figure("leaf.density_kg_m3") * mass_j_kg_k)
    zeta = first_root(heat_transfer_w_m2_k * half_thickness_m / conductivity)
    tau = half_thickness_m**2 / (diffusivity * zeta**2)
    time = immersion_s * np.linspace(0.0, 1.0, 81) ** 2  # close together where it warms
    ratio = leaf_j_k / bath_j_k
    gap = (bath_c - leaf_c) * np.exp(-time * (1.0 + ratio) / tau)
    end = (bath_j_k * bath_c + leaf_j_k * leaf_c) / (bath_j_k + leaf_j_k)
    mean = end - gap / (1.0 + ratio)
    # In the slowest mode the middle lags the mean by zeta/sin(zeta).
    middle = mean + gap - gap * zeta / math.sin(zeta)
    return Heating(time, mean, np.maximum(middle, min(leaf_c, bath_c)))


def leach_rate_per_s(
    species: str, temperature_c: Array | float, activation_j_mol: float | None = None
) -> Array:
    """Rate at which iodine leaves toward the bath, 1/s: Arrhenius from 80 degrees C.

    The activation energy is that of ``data/blanch.csv`` when None.
    """
    kelvin = np.asarray(temperature_c, float) + KELVIN
    activation = activation_j_mol
    if activation is None:
        activation = figure("all.leach_activation_j_mol")
    rate = figure(f"{species}.leach_rate_80c_per_s")
    return np.asarray(
        rate * np.exp(-activation / GAS_CONSTANT_J_MOL_K * (1.0 / kelvin - 1.0 / 353.15)), float
    )


def leach_exposure(species: str, heating: Heating, activation_j_mol: float) -> float:
    """Rate times time over the heating, dimensionless."""
    rate = leach_rate_per_s(species, heating.mean_c, activation_j_mol)
    return float(np.trapezoid(rate, heating.time_s))


def listeria_seconds(heating: Heating) -> float:
    """Seconds at the Listeria reference temperature, middle of the blade."""
    return equivalent_time_s(
        heating.time_s.tolist(),
        heating.middle_c.tolist(),
        figure("listeria.reference_c"),
        figure("listeria.z_k"),
    )
