"""Water moving through a blade that shrinks: diffusion in a slab, in series and in cells.

``series`` is Crank's solution for a slab that keeps its thickness; ``simulate`` solves the same
balance in cells that move with the solids, so that it may shrink, the air may change, and the
surface may resist. In solids coordinates, with s = thickness over its start where the leaf holds X,

    dX/dt = d/dz ( D/s^2 dX/dz ),    s = 1 - shrinkage + shrinkage (1 + b X)/(1 + b X0)

(flux relative to the solids, J = -rho_solids D dX/dx; Crank, The Mathematics of Diffusion, chapter
10, from memory; derived again here). b is the density of dry matter over that of water: with full
shrinkage the slab loses exactly the volume of the water. Isothermal; the caller brings D at the
leaf's temperature. A published D goes only with the thickness and the shrinkage of its own paper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from wareleaf.leaf.fit_thin_layer import slab_moisture_ratio
from wareleaf.measure import BadInput
from wareleaf.stages.common import SECONDS_PER_HOUR, Array, finite, relative_closure

SOURCES = (
    "Crank J. The Mathematics of Diffusion: plane sheet, surface evaporation, solids-fixed "
    "coordinates (from memory)",
)
_TERMS = 60


@dataclass(frozen=True)
class Slab:
    """A blade that dries from both faces.

    Parameters
    ----------
    half_thickness_m : float
        At the start; for a blade on a tray that dries from one face, its whole thickness.
    diffusivity_m2_s : float
        Of water relative to the solids, at the start.
    shrinkage : float
        0 keeps the thickness, 1 loses the whole volume of the water.
    solids_density_ratio : float
        Density of dry matter over that of water, about 1.5 (from memory).
    diffusivity_power : float
        D falls as the blade shrinks, D = D_start s^power; 0 keeps it.
    surface_m_s : float
        Surface coefficient k_s of the flux k_s rho_solids (X_s - X_e); infinite holds the surface
        at equilibrium.
    cells : int
        Over the half thickness.
    """

    half_thickness_m: float
    diffusivity_m2_s: float
    shrinkage: float = 0.0
    solids_density_ratio: float = 1.5
    diffusivity_power: float = 0.0
    surface_m_s: float = math.inf
    cells: int = 40

    def __post_init__(self) -> None:
        """Refuse what cannot be a slab."""
        finite("half_thickness_m", self.half_thickness_m, 0.0, 0.5, "m", above=True)
        finite("diffusivity_m2_s", self.diffusivity_m2_s, 0.0, 1e-4, "m2/s", above=True)
        finite("shrinkage", self.shrinkage, 0.0, 1.0)
        finite("solids_density_ratio", self.solids_density_ratio, 0.1, 10.0)
        finite("diffusivity_power", self.diffusivity_power, 0.0, 10.0)
        finite("cells", self.cells, 4, 2000)
        if not self.surface_m_s > 0.0:
            raise BadInput(
                "surface_m_s",
                self.surface_m_s,
                f"surface_m_s is {self.surface_m_s:g}; it must be above 0, infinite for a surface "
                "at equilibrium.",
            )

    @property
    def biot(self) -> float:
        """Surface coefficient over that of the inside, k_s L/D."""
        return self.surface_m_s * self.half_thickness_m / self.diffusivity_m2_s


@dataclass(frozen=True)
class SlabRun:
    """A drying run of a slab.

    Parameters
    ----------
    moisture_db : float
        At the start, the same all through.
    equilibrium_time_h, equilibrium_db : tuple of float
        Equilibrium of the surface with the air, straight lines between these hours.
    duration_h : float
        How long.
    """

    moisture_db: float
    equilibrium_time_h: tuple[float, ...]
    equilibrium_db: tuple[float, ...]
    duration_h: float

    def __post_init__(self) -> None:
        """Refuse what cannot be run."""
        finite("moisture_db", self.moisture_db, 0.0, 50.0, "kg/kg", above=True)
        finite("duration_h", self.duration_h, 0.0, 2000.0, "h", above=True)
        times, values = self.equilibrium_time_h, self.equilibrium_db
        if len(times) != len(values) or not times or any(np.diff(times) <= 0.0):
            raise BadInput(
                "equilibrium_time_h",
                len(times),
                "equilibrium_time_h must rise and have one hour for each equilibrium_db.",
            )
        for value in values:
            finite("equilibrium_db", value, 0.0, 50.0, "kg/kg")


@dataclass(frozen=True)
class SlabResult:
    """What became of the slab.

    Parameters
    ----------
    time_h, mean_db, centre_db, surface_db, thickness_m : ndarray
        The course; ``thickness_m`` is the half thickness.
    depth_m, profile_db : ndarray
        The last profile, depth from the centre.
    moisture_wb_out : float
        Mean at the end.
    water_residual : float
        Relative closure: loss of the cells against what passed the surface.
    warnings, sources : tuple of str
        As for every stage.
    """

    time_h: Array
    mean_db: Array
    centre_db: Array
    surface_db: Array
    thickness_m: Array
    depth_m: Array
    profile_db: Array
    moisture_wb_out: float
    water_residual: float
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


def series(slab: Slab, moisture_db: float, equilibrium_db: float, time_h: Array) -> Array:
    """Mean moisture of a slab that keeps its thickness, by Crank's series.

    Parameters
    ----------
    slab : Slab
        Its ``shrinkage`` and ``diffusivity_power`` must be 0.
    moisture_db, equilibrium_db : float
        Start and end.
    time_h : ndarray
        Hours, 0 or more.

    Raises
    ------
    BadInput
        When the slab shrinks: the series has no such term.
    """
    if slab.shrinkage > 0.0:
        raise BadInput(
            "shrinkage", slab.shrinkage, "shrinkage must be 0 for the series; use simulate."
        )
    finite("equilibrium_db", equilibrium_db, 0.0, 50.0, "kg/kg")
    time = np.asarray(time_h, dtype=float)
    fourier = slab.diffusivity_m2_s * time * SECONDS_PER_HOUR / slab.half_thickness_m**2
    if math.isinf(slab.surface_m_s):
        ratio = slab_moisture_ratio(fourier)
    else:
        ratio = _resisted(fourier, slab.biot)
    return np.asarray(equilibrium_db + (moisture_db - equilibrium_db) * ratio, dtype=float)


def biot_roots(biot: float, count: int) -> Array:
    """The first positive roots of b tan b = Bi, one in each branch of the tangent."""
    found = []
    for n in range(count):
        low, high = n * math.pi + 1e-12, (n + 0.5) * math.pi - 1e-12
        found.append(brentq(lambda b: b * math.sin(b) - biot * math.cos(b), low, high, xtol=1e-14))
    return np.array(found)


def _resisted(fourier: Array, biot: float) -> Array:
    """Sum of 2 Bi^2 exp(-b^2 Fo)/(b^2 (b^2 + Bi^2 + Bi)); at Fo = 0 it is 1."""
    roots = biot_roots(biot, _TERMS)
    weight = 2.0 * biot**2 / (roots**2 * (roots**2 + biot**2 + biot))
    fading = np.exp(-np.multiply.outer(fourier, roots**2))
    return np.asarray(np.where(fourier > 0.0, fading @ weight, 1.0), dtype=float)


def simulate(slab: Slab, run: SlabRun, points: int = 121) -> SlabResult:
    """The slab in finite volumes; SciPy's LSODA with a banded Jacobian in time.

    Second order in the cells (checked); mean moisture and closure are exact sums over the cells.
    """
    cells, half = slab.cells, slab.half_thickness_m
    width = half / cells
    time_s = np.linspace(0.0, run.duration_h, points) * SECONDS_PER_HOUR
    start = np.append(np.full(cells, run.moisture_db), 0.0)

    def slope(t: float, y: Array) -> Array:
        flux = _flux(slab, run, y[:-1], width, t)
        return np.append((flux[:-1] - flux[1:]) / width, flux[-1] / half)

    found = solve_ivp(
        slope,
        (0.0, float(time_s[-1])),
        start,
        "LSODA",
        t_eval=time_s,
        rtol=1e-9,
        atol=1e-11 * max(1.0, run.moisture_db),
        lband=1,
        uband=1,
    )
    moisture, passed = found.y[:-1], found.y[-1]
    mean = moisture.mean(axis=0)
    spans = np.asarray(_swell(slab, run, moisture)) * width
    last = spans[:, -1]
    return SlabResult(
        time_h=time_s / SECONDS_PER_HOUR,
        mean_db=mean,
        centre_db=moisture[0],
        surface_db=np.array(
            [
                _surface(slab, run, x[-1], width, float(t))
                for x, t in zip(moisture.T, time_s, strict=True)
            ]
        ),
        thickness_m=spans.sum(axis=0),
        depth_m=np.cumsum(last) - 0.5 * last,
        profile_db=moisture[:, -1],
        moisture_wb_out=float(mean[-1] / (1.0 + mean[-1])),
        water_residual=relative_closure(
            float(run.moisture_db - mean[-1]), float(passed[-1]), run.moisture_db
        ),
        warnings=_warnings(slab, run),
        sources=SOURCES,
    )


def _swell(slab: Slab, run: SlabRun, moisture: Array) -> Array:
    """Thickness of a piece over its start, from its moisture."""
    b = slab.solids_density_ratio
    ratio = (1.0 + b * moisture) / (1.0 + b * run.moisture_db)
    return 1.0 - slab.shrinkage + slab.shrinkage * ratio


def _conductance(slab: Slab, run: SlabRun, moisture: Array) -> Array:
    """D/s^2 in solids coordinates, m2/s."""
    swell = _swell(slab, run, moisture)
    return slab.diffusivity_m2_s * swell ** (slab.diffusivity_power - 2.0)


def _equilibrium(run: SlabRun, t: float) -> float:
    return float(np.interp(t / SECONDS_PER_HOUR, run.equilibrium_time_h, run.equilibrium_db))


def _outward(slab: Slab, run: SlabRun, outer: float, width: float, t: float) -> tuple[float, float]:
    """Conductance from the last cell's middle to the air, m/s, and the equilibrium."""
    end = _equilibrium(run, t)
    inside = float(_conductance(slab, run, np.array(0.5 * (outer + end)))) / (0.5 * width)
    resist = 0.0 if math.isinf(slab.surface_m_s) else 1.0 / slab.surface_m_s
    return 1.0 / (1.0 / inside + resist), end


def _flux(slab: Slab, run: SlabRun, moisture: Array, width: float, t: float) -> Array:
    """Outward flux at every face, kg/kg m/s: none at the centre, to the air at the surface."""
    middle = _conductance(slab, run, 0.5 * (moisture[1:] + moisture[:-1]))
    through, end = _outward(slab, run, float(moisture[-1]), width, t)
    inner = -middle * np.diff(moisture) / width
    return np.concatenate([[0.0], inner, [through * (moisture[-1] - end)]])


def _surface(slab: Slab, run: SlabRun, outer: float, width: float, t: float) -> float:
    """Moisture at the very surface."""
    through, end = _outward(slab, run, float(outer), width, t)
    if math.isinf(slab.surface_m_s):
        return end
    return end + through * (float(outer) - end) / slab.surface_m_s


def _warnings(slab: Slab, run: SlabRun) -> tuple[str, ...]:
    said = ["Isothermal: give the diffusivity at the leaf's own temperature."]
    if slab.shrinkage == 0.0 and run.moisture_db > 1.0:
        said.append(
            "Wet leaf shrinks; without shrinkage the way out stays long and the end comes late."
        )
    if max(run.equilibrium_db) > run.moisture_db:
        said.append("The air is damper than the leaf for a while: it takes up water.")
    return tuple(said)


def hours_to(slab: Slab, run: SlabRun, target_db: float) -> float:
    """Hours until the mean moisture is at the target; infinite when not within the run.

    Raises
    ------
    BadInput
        Target at or above the start, or at or below the driest equilibrium of the run (which the
        sentence names).
    """
    driest = min(run.equilibrium_db)
    finite("target_db", target_db, 0.0, 50.0, "kg/kg", above=True)
    if not driest < target_db < run.moisture_db:
        raise BadInput(
            "target_db",
            target_db,
            f"target_db is {target_db:g}; this air takes the leaf from {run.moisture_db:g} to "
            f"{driest:g} and no drier, give a target between.",
        )
    result = simulate(slab, run, points=601)
    below = np.flatnonzero(result.mean_db <= target_db)
    if below.size == 0:
        return math.inf
    i = int(below[0])
    x, t = result.mean_db, result.time_h
    share = (x[i - 1] - target_db) / (x[i - 1] - x[i])
    return float(t[i - 1] + share * (t[i] - t[i - 1]))
