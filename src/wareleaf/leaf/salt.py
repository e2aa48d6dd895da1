"""What salt does to the water in a leaf.

Dried raw seaweed holds a quarter to a third of its dry matter as ash, much of it sodium and
potassium chloride. Below the humidity over its saturated solution such a salt is crystalline and
holds no water; at that humidity it dissolves; above it the brine thins as the air gets damper. So
the isotherm of raw kelp steepens near water activity 0.75 (NaCl) and 0.84 (KCl).

Simplifications, stated: each salt acts alone (a real mixture of both first dissolves a little
lower, near 0.70 to 0.74); the step is smoothed over `STEP_WIDTH` so that it can be inverted;
supersaturated brine on drying (efflorescence below deliquescence) is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.leaf._arrays import Array, Number, as_given
from wareleaf.measure import Figure, read_figures

WATER_KG_MOL = 0.018015  # CODATA/IUPAC atomic weights
STEP_WIDTH = 0.004  # water activity; 10 to 90 % of the step within +-2.2 widths (own choice)


@dataclass(frozen=True)
class Salt:
    """One dissolving salt.

    Parameters
    ----------
    name : str
        Chemical formula.
    molar_mass_kg_mol : float
        Of the salt.
    saturated_scale, saturated_k : float
        Relative humidity over the saturated solution, scale exp(k/T in kelvin), as a fraction.
    ions_dilute, ions_slope_kg_mol : float
        Effective number of ions, i = dilute + slope m with molality m in mol/kg.
    """

    name: str
    molar_mass_kg_mol: float
    saturated_scale: float
    saturated_k: float
    ions_dilute: float
    ions_slope_kg_mol: float
    figures: tuple[Figure, ...] = ()

    def deliquescence_water_activity(self, temperature_c: Number) -> Number:
        """Water activity over the saturated solution, scale exp(k/T) (Wexler's table form)."""
        kelvin = np.asarray(temperature_c, dtype=float) + 273.15
        return as_given(self.saturated_scale * np.exp(self.saturated_k / kelvin))

    def molality_mol_kg(self, water_activity: Number) -> Number:
        """Molality of the brine in equilibrium, from 1/aw - 1 = M_w m (i0 + i1 m).

        A mole-fraction (Raoult) law with an effective number of ions that rises with molality so
        that both the dilute end and the saturated solution come out right (derived).
        """
        aw = np.asarray(water_activity, dtype=float)
        excess = (1.0 / np.maximum(aw, 1e-9) - 1.0) / WATER_KG_MOL
        i0, i1 = self.ions_dilute, self.ions_slope_kg_mol
        return as_given(2.0 * excess / (i0 + np.sqrt(i0**2 + 4.0 * i1 * excess)))

    def brine_water_activity(self, molality_mol_kg: Number) -> Number:
        """Water activity of a brine, the inverse of `molality_mol_kg`."""
        m = np.asarray(molality_mol_kg, dtype=float)
        ions = self.ions_dilute + self.ions_slope_kg_mol * m
        return as_given(1.0 / (1.0 + WATER_KG_MOL * m * ions))

    def water_kg_kg(self, water_activity: Number, temperature_c: Number) -> Number:
        """Water that a kilogram of the salt holds, kg: none when dry, brine above its step."""
        aw = np.minimum(np.asarray(water_activity, dtype=float), 1.0 - 1e-12)
        edge = self.deliquescence_water_activity(temperature_c)
        dissolved: Array = 0.5 * (1.0 + np.tanh((aw - edge) / (2.0 * STEP_WIDTH)))
        molality = np.asarray(self.molality_mol_kg(aw))
        return as_given(dissolved / (molality * self.molar_mass_kg_mol))


def _salt(name: str) -> Salt:
    rows = tuple(f for f in read_figures("wareleaf.leaf", "salt") if f.subject == name)
    value = {f.quantity: f.value for f in rows}
    return Salt(
        name,
        value["molar_mass_kg_mol"],
        value["saturated_scale"],
        value["saturated_k"],
        value["ions_dilute"],
        value["ions_slope_kg_mol"],
        rows,
    )


NACL = _salt("NaCl")
KCL = _salt("KCl")
