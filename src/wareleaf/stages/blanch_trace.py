"""A blade in water whose temperature was measured: how its middle warms, what enzyme survives.

The probe stands in the water; the blade lags it. Its mean temperature follows the slowest mode of
the slab, ``dm/dt = (T_water - m)/tau``, solved exactly for straight lines between readings; the
middle lags the mean as in `stages.blanch_leaf`. Enzymes fade first-order in fractions of different
hardiness, each with an Arrhenius rate, over the middle's course.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.measure import require
from wareleaf.stages.blanch_leaf import Heating, first_root
from wareleaf.stages.blanch_spec import figure
from wareleaf.stages.common import Array, finite
from wareleaf.stages.lethality import check_trace

_FINE = 12  # points in a time constant
_MOST = 200_000


@dataclass(frozen=True)
class EnzymeFraction:
    """A part of an enzyme's activity that fades at its own rate.

    Parameters
    ----------
    share : float
        Of the activity before heating.
    rate_per_min : float
        First-order rate at ``reference_c``.
    activation_j_mol, reference_c : float
        Arrhenius.
    """

    share: float
    rate_per_min: float
    activation_j_mol: float
    reference_c: float = 100.0

    def __post_init__(self) -> None:
        """Refuse what cannot fade."""
        finite("share", self.share, 0.0, 1.0, above=True)
        finite("rate_per_min", self.rate_per_min, 0.0, 1e6, "1/min", above=True)
        finite("activation_j_mol", self.activation_j_mol, 0.0, 1e6, "J/mol")
        finite("reference_c", self.reference_c, 0.0, 200.0, "degC")


def peroxidase() -> tuple[EnzymeFraction, ...]:
    """Peroxidase of corn, another plant: none of seaweed was found."""
    labile = figure("peroxidase.labile_fraction")
    return tuple(
        EnzymeFraction(
            share,
            figure(f"peroxidase.{name}_rate_100c_per_min"),
            figure(f"peroxidase.{name}_activation_j_mol"),
        )
        for name, share in (("labile", labile), ("stable", 1.0 - labile))
    )


def survival(time_s: Array, temperature_c: Array, fractions: Sequence[EnzymeFraction]) -> float:
    """Share of an enzyme's activity left after a course; trapezoid on the rate.

    Raises
    ------
    BadInput
        When the shares do not add to one.
    """
    total = sum(f.share for f in fractions)
    require(
        abs(total - 1.0) < 1e-6,
        "share",
        total,
        f"The shares of the enzyme's fractions add to {total:g}; they must add to 1.",
    )
    kelvin = np.asarray(temperature_c, float) + KELVIN
    left = 0.0
    for each in fractions:
        turn = 1.0 / kelvin - 1.0 / (each.reference_c + KELVIN)
        speed = (
            each.rate_per_min / 60.0 * np.exp(-each.activation_j_mol / GAS_CONSTANT_J_MOL_K * turn)
        )
        left += each.share * math.exp(-float(np.trapezoid(speed, np.asarray(time_s, float))))
    return left


def blade_in_water(
    time_s: Sequence[float],
    water_c: Sequence[float],
    *,
    half_thickness_m: float,
    leaf_c: float,
    heat_transfer_w_m2_k: float | None = None,
) -> Heating:
    """Temperatures of a blade in water along a measured trace.

    Parameters
    ----------
    time_s, water_c : sequence of float
        Readings of the probe in the water; times rise, two equal times are a step.
    half_thickness_m : float
        Half the thickness that the heat must cross: the blade's own, more in a clump.
    leaf_c : float
        Leaf as it goes in, at the first reading.
    heat_transfer_w_m2_k : float, optional
        Water to blade; the figure of the bath when None.
    """
    t, water = check_trace(time_s, water_c)
    finite("half_thickness_m", half_thickness_m, 0.0, 0.1, "m", above=True)
    finite("leaf_c", leaf_c, -5.0, 100.0, "degC")
    given = heat_transfer_w_m2_k
    transfer = figure("bath.heat_transfer_w_m2_k") if given is None else given
    finite("heat_transfer_w_m2_k", transfer, 0.0, 1e6, "W/m2K", above=True)
    conductivity = figure("leaf.conductivity_w_m_k")
    zeta = first_root(transfer * half_thickness_m / conductivity)
    # Nearly all of a fresh blade is water.
    diffusivity = conductivity / (figure("leaf.density_kg_m3") * CP_WATER_J_KG_K)
    tau = half_thickness_m**2 / (diffusivity * zeta**2)
    times, waters, means = [t[:1]], [water[:1]], [np.array([leaf_c])]
    mean, made = leaf_c, 1
    for i in range(t.size - 1):
        span = float(t[i + 1] - t[i])
        if span == 0.0:
            continue
        count = max(4, math.ceil(_FINE * span / tau))
        made += count
        require(
            made <= _MOST,
            "time_s",
            float(t[-1]),
            f"time_s runs over {t[-1] - t[0]:g} s, far longer than this thin blade needs to warm; "
            "give the part in which it warms and is held.",
        )
        since = np.linspace(0.0, span, count + 1)[1:]
        slope = float(water[i + 1] - water[i]) / span
        here = water[i] + slope * since
        lag = slope * tau
        course = here - lag + (mean - float(water[i]) + lag) * np.exp(-since / tau)
        times.append(t[i] + since)
        waters.append(here)
        means.append(course)
        mean = float(course[-1])
    all_t, all_w, all_m = (np.concatenate(part) for part in (times, waters, means))
    middle = all_w - (all_w - all_m) * zeta / math.sin(zeta)
    low, high = min(leaf_c, float(water.min())), max(leaf_c, float(water.max()))
    return Heating(all_t, all_m, np.clip(middle, low, high))
