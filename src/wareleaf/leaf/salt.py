"""What salt does to the water in a leaf.

Dried raw seaweed holds a quarter to a third of its dry matter as ash, much of it sodium and
potassium chloride. Below the humidity over its saturated solution such a salt is crystalline and
holds no water; at that humidity it dissolves; above it the brine thins as the air gets damper. So
the isotherm of raw kelp steepens where its salts dissolve: NaCl alone at water activity 0.75, KCl
alone at 0.84, both together first at about 0.72, the last crystal later (`water_of_both_kg_kg`).

Simplifications, stated: the first step is smoothed over `STEP_WIDTH` so that it can be inverted;
supersaturated brine on drying (efflorescence below deliquescence) and other salts are left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf._arrays import Array, Number, as_given, solve_increasing
from wareleaf.measure import Figure, read_figures, require

WATER_KG_MOL = 0.018015  # CODATA/IUPAC atomic weights
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
SALT_MOST = 0.6  # of the dry matter; ash of seaweed is 20 to 40 %
_DRIEST = 0.3  # water activity; in drier air there is no brine, at any temperature
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

    def crystal_share(self, water_activity: Number, temperature_c: Number) -> Array:
        """Part of a mixed brine's salt, by moles, at which this salt stands with its crystal.

        1 over its own saturated solution and in damper air, where no crystal lasts; less in drier
        air, where only a brine that other salt thins is liquid. See `water_of_both_kg_kg`.
        """
        edge = np.asarray(self.deliquescence_water_activity(temperature_c))
        first = np.asarray(self.molality_mol_kg(edge))
        aw = np.maximum(np.minimum(np.asarray(water_activity, dtype=float), edge), _DRIEST)
        last = np.asarray(self.molality_mol_kg(aw))
        # ln of the salt's own activity rises by -d(ln aw)/(M_w m) (Gibbs-Duhem), here over ln m
        reach = np.log(last / first)
        risen: Array = np.zeros(reach.shape)
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            m = first * np.exp(0.5 * (1.0 + node) * reach)
            ions = self.ions_dilute + self.ions_slope_kg_mol * m
            slope = self.ions_dilute + 2.0 * self.ions_slope_kg_mol * m
            risen = risen + 0.5 * weight * reach * slope / (1.0 + WATER_KG_MOL * m * ions)
        return np.asarray(np.exp(-risen))

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


def water_of_both_kg_kg(
    nacl_kg: float, kcl_kg: float, water_activity: Number, temperature_c: Number
) -> Number:
    """Water that NaCl and KCl hold together, kg.

    Parameters
    ----------
    nacl_kg, kcl_kg : float
        Of each salt, 0 or more.
    water_activity, temperature_c : float or ndarray
        Up to 1.

    Notes
    -----
    Zdanovskii-Stokes-Robinson: brines of one water activity mix without change, so the water is the
    sum of what each dissolved salt holds alone. With Gibbs-Duhem and a common ion of the same
    charge that makes a salt's activity its share of the brine's salt times its activity alone at
    that water activity (McKay and Perring). A crystal is left where the salt's share would pass
    the one at which both stand together; where the two such shares add up to 1 the brine of both
    begins. (Textbook rules, from memory; the constants are those of each salt alone.)
    """
    if nacl_kg <= 0.0 or kcl_kg <= 0.0:
        alone = NACL.water_kg_kg(water_activity, temperature_c) * max(nacl_kg, 0.0)
        return alone + KCL.water_kg_kg(water_activity, temperature_c) * max(kcl_kg, 0.0)
    aw = np.minimum(np.asarray(water_activity, dtype=float), 1.0 - 1e-12)
    salts = (NACL, KCL)
    moles = [kg / s.molar_mass_kg_mol for s, kg in zip(salts, (nacl_kg, kcl_kg), strict=True)]
    shares = [s.crystal_share(aw, temperature_c) for s in salts]
    molality = [np.asarray(s.molality_mol_kg(aw)) for s in salts]
    past = _past_first_brine(aw, temperature_c)
    wet = 0.5 * (1.0 + np.tanh(past / (2.0 * STEP_WIDTH)))
    held: Array = np.zeros(np.shape(wet))
    for own, other in ((0, 1), (1, 0)):
        share = np.minimum(shares[own], 1.0 - 1e-12)
        dissolved = np.minimum(moles[own], share / (1.0 - share) * moles[other])
        held = held + dissolved / molality[own]
    return as_given(wet * held)


def check_salt(nacl_fraction: float, kcl_fraction: float) -> None:
    """Refuse shares of the dry matter that cannot be salt: below 0, or together above 0.6."""
    given = {"salt_nacl_fraction": nacl_fraction, "salt_kcl_fraction": kcl_fraction}
    for name, share in given.items():
        require(
            bool(0.0 <= share <= SALT_MOST),
            name,
            share,
            f"{name} is {share:g}; it must be from 0 to {SALT_MOST:g} of the dry matter.",
        )
    both = nacl_fraction + kcl_fraction
    require(
        both <= SALT_MOST,
        "salt_nacl_fraction",
        both,
        f"salt_nacl_fraction and salt_kcl_fraction add up to {both:g}; both together must be at "
        f"most {SALT_MOST:g} of the dry matter.",
    )


def salted_moisture_db(
    organic_db: Number,
    nacl_fraction: float,
    kcl_fraction: float,
    water_activity: Number,
    temperature_c: Number,
) -> Array:
    """Moisture of organic matter and its salt together, kg per kg dry matter of both.

    Parameters
    ----------
    organic_db : float or ndarray
        Moisture of the organic matter alone at that water activity, kg per kg of it.
    nacl_fraction, kcl_fraction : float
        Salts, as shares of the dry matter.
    water_activity, temperature_c : float or ndarray
        Of the air.
    """
    salt = nacl_fraction + kcl_fraction
    brine = water_of_both_kg_kg(nacl_fraction, kcl_fraction, water_activity, temperature_c)
    return np.asarray((1.0 - salt) * np.asarray(organic_db) + brine)


def salted_water_activity(
    organic_db: Callable[[Array], Array],
    organic_water_activity: Callable[[Array], Array],
    moisture_db: Array,
    temperature_c: Number,
    salts: tuple[float, float],
) -> Array:
    """Water activity of leaf with salt, the inverse of `salted_moisture_db`.

    Parameters
    ----------
    organic_db, organic_water_activity : callable
        The organic matter's isotherm both ways, at ``temperature_c``.
    moisture_db : ndarray
        Of the whole leaf, as broadcast with the temperature.
    temperature_c : float or ndarray
        Of the leaf.
    salts : (float, float)
        NaCl and KCl, as shares of the dry matter.
    """

    def total(aw: Array) -> Array:
        return salted_moisture_db(organic_db(aw), *salts, aw, temperature_c)

    def organic_alone(moisture: Array) -> Array:
        return organic_water_activity(moisture / (1.0 - sum(salts)))

    # Brine holds 0 or more, so organic matter alone bounds water activity from above; it holds no
    # more than at that bound, which bounds water activity from below.
    high = np.minimum(organic_alone(moisture_db), 1.0 - 1e-12)
    brine = np.asarray(water_of_both_kg_kg(*salts, high, temperature_c))
    low = np.minimum(organic_alone(np.maximum(moisture_db - brine, 0.0)), high)
    return solve_increasing(total, moisture_db, low, high)


def _past_first_brine(aw: Array, temperature_c: Number) -> Array:
    """Water activity past the one at which both crystals stand with one brine: by Newton's rule
    from where neither salt dissolves alone, exact at the edge.
    """
    salts = (NACL, KCL)
    alone = [np.asarray(s.deliquescence_water_activity(temperature_c)) for s in salts]
    near = np.maximum(np.minimum(aw, np.minimum(*alone)), _DRIEST)
    shares = [s.crystal_share(near, temperature_c) for s in salts]
    rise = [
        x / (near * WATER_KG_MOL * np.asarray(s.molality_mol_kg(near)))
        for s, x in zip(salts, shares, strict=True)
    ]
    total = shares[0] + shares[1]
    return np.asarray(total * np.log(total) / (rise[0] + rise[1]) + aw - near)
