"""A blade in the air as it is told: the leaf, the run, and what comes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wareleaf import leaf
from wareleaf.stages.common import SECONDS_PER_HOUR, Array, finite


@dataclass(frozen=True)
class Blade:
    """A blade that dries from both faces.

    Parameters
    ----------
    leaf_id : str
        Leaf profile: isotherm, heats, and whatever is None here.
    half_thickness_m : float or None
        At the start; for a blade on a tray that dries from one face, its whole thickness.
    diffusivity_m2_s : float or None
        At ``reference_c``. None takes the slab whose slowest term fades at the profile's rate,
        ``D = 4 k L^2/pi^2``; that goes with a slab that keeps its thickness.
    activation_j_mol, reference_c : float or None
        Arrhenius of D with the leaf's temperature.
    shrinkage, solids_density_ratio, diffusivity_power
        As in `stages.slab.Slab`.
    cells : int
        Over the half thickness.
    """

    leaf_id: str
    half_thickness_m: float | None = None
    diffusivity_m2_s: float | None = None
    activation_j_mol: float | None = None
    reference_c: float | None = None
    shrinkage: float = 0.0
    solids_density_ratio: float = 1.5
    diffusivity_power: float = 0.0
    cells: int = 30

    def __post_init__(self) -> None:
        """Refuse what cannot be a blade."""
        leaf.profile(self.leaf_id)
        for name, most, unit in (
            ("half_thickness_m", 0.1, "m"),
            ("diffusivity_m2_s", 1e-4, "m2/s"),
        ):
            value = getattr(self, name)
            if value is not None:
                finite(name, value, 0.0, most, unit, above=True)
        if self.activation_j_mol is not None:
            finite("activation_j_mol", self.activation_j_mol, 0.0, 1.5e5, "J/mol")
        if self.reference_c is not None:
            finite("reference_c", self.reference_c, 0.0, 200.0, "degC")
        finite("shrinkage", self.shrinkage, 0.0, 1.0)
        finite("solids_density_ratio", self.solids_density_ratio, 0.1, 10.0)
        finite("diffusivity_power", self.diffusivity_power, 0.0, 10.0)
        finite("cells", self.cells, 4, 400)

    def filled(self) -> tuple[float, float, float, float]:
        """Half thickness, D, activation and reference temperature, from the profile where None."""
        law = leaf.profile(self.leaf_id).dry
        half = self.half_thickness_m or leaf.profile(self.leaf_id).half_thickness_m
        per_s = law.rate_per_h / SECONDS_PER_HOUR
        own = 4.0 * per_s * leaf.profile(self.leaf_id).half_thickness_m ** 2 / math.pi**2
        return (
            half,
            own if self.diffusivity_m2_s is None else self.diffusivity_m2_s,
            law.activation_j_mol if self.activation_j_mol is None else self.activation_j_mol,
            law.reference_c if self.reference_c is None else self.reference_c,
        )


@dataclass(frozen=True)
class BladeRun:
    """A blade as hung or laid, and for how long."""

    moisture_wb: float
    duration_h: float
    leaf_temperature_c: float = 20.0

    def __post_init__(self) -> None:
        """Refuse what cannot be run."""
        finite("moisture_wb", self.moisture_wb, 0.0, 0.98, above=True)
        finite("duration_h", self.duration_h, 0.0, 2000.0, "h", above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, 0.0, 60.0, "degC")


@dataclass(frozen=True)
class BladeResult:
    """What became of the blade.

    Parameters
    ----------
    time_h, mean_db, centre_db, surface_db, leaf_c, wet_bulb_c, rate_kg_h_m2, thickness_m : ndarray
        The course; rate per m2 of face; ``thickness_m`` is the half thickness.
    moisture_wb_out, equilibrium_wb : float
        Mean at the end, and the driest that the last air can bring.
    constant_rate_h : float
        Hours until the rate has fallen 5 % below that of a wet surface; 0 when it never was wet.
    heat_transfer_w_m2_k, biot_heat, biot_moisture : float
        Outside; heat inside (below 0.1 the leaf is of one temperature); and the first outer flux
        over the most that the inside could carry, D rho (X0 - Xe)/L.
    leaf_temperature_max_c : float
        Warmest.
    water_residual, energy_residual : float
        Relative closures.
    warnings, sources : tuple of str
        As for every stage.
    """

    time_h: Array
    mean_db: Array
    centre_db: Array
    surface_db: Array
    leaf_c: Array
    wet_bulb_c: Array
    rate_kg_h_m2: Array
    thickness_m: Array
    moisture_wb_out: float
    equilibrium_wb: float
    constant_rate_h: float
    heat_transfer_w_m2_k: float
    biot_heat: float
    biot_moisture: float
    leaf_temperature_max_c: float
    water_residual: float
    energy_residual: float
    warnings: tuple[str, ...]
    sources: tuple[str, ...]
