"""How fast catechin goes, and where theaflavin peaks: the chemistry of the oxidation floor."""

from __future__ import annotations

import math

import numpy as np

from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.stages.common import Array, stage_figures

FIGURES = stage_figures("oxidise")
CUTS = ("orthodox_fine", "orthodox_coarse", "ctc")
ACTIVATION_J_MOL = (0.0, 300_000.0)  # of what enzymes and quinones do; wider is a typing error


def figure(name: str) -> float:
    """Value of a row of ``data/oxidise.csv`` by ``subject.quantity``."""
    return FIGURES[name].value


def peak_share(loss_ratio: float) -> float:
    """Share of catechin oxidised when theaflavin peaks: ``ln(1 + r)/r``.

    From ``dTF/du = a (1 - u) - r TF`` with u the share oxidised (own derivation; see the page on
    blanching, oxidation and sifting for why the plain consecutive form has no peak).
    """
    return math.log1p(loss_ratio) / loss_ratio


def theaflavin_shape(share: Array | float, loss_ratio: float) -> Array:
    """Theaflavin at constant temperature, unscaled: ``(1/r + 1/r**2)(1 - exp(-r u)) - u/r``."""
    u, r = np.asarray(share, float), loss_ratio
    return np.asarray((1.0 / r + 1.0 / r**2) * -np.expm1(-r * u) - u / r, float)


def rate_per_min(cut: str, loss_ratio: float) -> float:
    """Oxidation rate at the reference temperature that puts the peak at its published time."""
    share = peak_share(loss_ratio)
    return -math.log1p(-share) / figure(f"{cut}.peak_min")


def arrhenius(temperature_c: Array, activation_j_mol: float) -> Array:
    """Rate against that at the reference temperature."""
    here, there = temperature_c + KELVIN, figure("all.reference_c") + KELVIN
    return np.exp(-activation_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / here - 1.0 / there))
