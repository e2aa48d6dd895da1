"""Liquor and leaf as things that are poured: mass, dissolved matter and enthalpy move together.

Every transfer takes from one and gives to another, so water, dry matter, iodine and energy can be
counted on both sides of the bath afterwards. Enthalpy is counted from 0 degrees C liquid water;
dissolved matter carries the specific heat of the leaf's dry matter.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from wareleaf.air.constants import CP_VAPOUR_J_KG_K, CP_WATER_J_KG_K, LATENT_HEAT_0C_J_KG
from wareleaf.stages.blanch_spec import figure
from wareleaf.stages.common import Array

IODINE, ARSENIC, MINERALS, ORGANICS = range(4)
# Iodine and arsenic are labels on a part of the minerals: only these two count as dry matter.
DRY = np.array([0.0, 0.0, 1.0, 1.0])


def nothing() -> Array:
    """No dissolved matter."""
    return np.zeros(4)


@dataclass
class Liquor:
    """An amount of water with dissolved matter: kg, kg of each solute, J."""

    water_kg: float = 0.0
    solute_kg: Array = field(default_factory=nothing)
    enthalpy_j: float = 0.0

    @property
    def dry_kg(self) -> float:
        """Dissolved dry matter."""
        return float(DRY @ self.solute_kg)

    @property
    def solids_fraction(self) -> float:
        """Dissolved dry matter per kg liquor."""
        total = self.water_kg + self.dry_kg
        return self.dry_kg / total if total > 0.0 else 0.0

    def heat_j_k(self, solid_j_kg_k: float) -> float:
        """Heat capacity."""
        return self.water_kg * CP_WATER_J_KG_K + self.dry_kg * solid_j_kg_k

    def temperature_c(self, solid_j_kg_k: float) -> float:
        """Temperature."""
        return self.enthalpy_j / self.heat_j_k(solid_j_kg_k)

    def add(self, other: Liquor) -> None:
        """Pour another amount in."""
        self.water_kg += other.water_kg
        self.solute_kg = self.solute_kg + other.solute_kg
        self.enthalpy_j += other.enthalpy_j

    def take(self, share: float) -> Liquor:
        """Pour a share out."""
        out = Liquor(share * self.water_kg, share * self.solute_kg, share * self.enthalpy_j)
        self.water_kg -= out.water_kg
        self.solute_kg = self.solute_kg - out.solute_kg
        self.enthalpy_j -= out.enthalpy_j
        return out

    def steam_off(self, mass_kg: float, solid_j_kg_k: float) -> float:
        """Let water leave as vapour; returns the enthalpy it carries, J."""
        carried = mass_kg * (
            LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * self.temperature_c(solid_j_kg_k)
        )
        self.water_kg -= mass_kg
        self.enthalpy_j -= carried
        return carried


@dataclass
class Basket:
    """Leaf in the bath: free liquor in its tissue, and what is bound in it."""

    free: Liquor
    rest_kg: float  # dry matter that cannot leave
    bound_kg: Array  # bound iodine and arsenic (inside rest_kg)

    @property
    def dry_kg(self) -> float:
        """Dry matter."""
        return self.rest_kg + self.free.dry_kg

    def heat_j_k(self, solid_j_kg_k: float) -> float:
        """Heat capacity."""
        return self.free.heat_j_k(solid_j_kg_k) + self.rest_kg * solid_j_kg_k

    def content_mg_kg(self, which: int) -> float:
        """Iodine or arsenic, mg per kg dry matter."""
        return 1e6 * float(self.free.solute_kg[which] + self.bound_kg[which]) / self.dry_kg


def medium(kind: str, water_kg: float, temperature_c: float, solid_j_kg_k: float) -> Liquor:
    """Fresh water or sea water at a temperature."""
    liquor = Liquor(water_kg)
    if kind == "seawater":
        solute = nothing()
        solute[IODINE] = 1e-6 * figure("seawater.iodine_mg_per_kg_water")
        solute[MINERALS] = figure("seawater.minerals_kg_per_kg_water")
        liquor.solute_kg = solute * water_kg
    liquor.enthalpy_j = liquor.heat_j_k(solid_j_kg_k) * temperature_c
    return liquor


def leach(basket: Basket, bath: Liquor, exposure: Array, leaf_c: float, solid: float) -> None:
    """Move dissolved matter between the tissue's water and the bath, toward equal concentration.

    ``dn/dt = -k (n - W c_bath)`` with what leaves going into the bath, so the whole approaches
    ``n_eq = N W/(W + B)`` at the rate ``k (1 + W/B)``; ``exposure`` is the integral of k.
    The matter carries its enthalpy at the leaf's temperature.
    """
    leaf_w, bath_w = basket.free.water_kg, bath.water_kg
    total = basket.free.solute_kg + bath.solute_kg
    even = total * leaf_w / (leaf_w + bath_w)
    after = even + (basket.free.solute_kg - even) * np.exp(-exposure * (1.0 + leaf_w / bath_w))
    moved = basket.free.solute_kg - after
    packet = Liquor(0.0, moved, float(DRY @ moved) * solid * leaf_c)
    bath.add(packet)
    basket.free.solute_kg = after
    basket.free.enthalpy_j -= packet.enthalpy_j
