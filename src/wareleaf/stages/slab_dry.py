"""A blade that dries in moving air: diffusion inside, heat and water transfer outside.

Inside, water moves as in `stages.slab`. At the surface the leaf has the water activity of its own
isotherm at its own moisture and temperature, and

    n = K (W_s - W_a),          W_s = eps p/(P - p),   p = aw(X_s, T) p_sat(T)
    m d(leaf heat)/dt = h (T_a - T) - n h_vapour(T)

so wet leaf sits at the wet bulb, and as its surface dries the leaf warms towards the air. aw is
that of the desorption branch while water leaves and of the adsorption branch while it comes; a face
between the two keeps its water. The heat of sorption is part of the leaf's heat, the same both
ways. The leaf has one temperature (thin blades; the Biot number of heat is told). Nodes lie on the
surface and the middle, second order in their distance; LSODA in time. Water and energy are each
summed on both sides. Limits that are tested: wet bulb, a loose and a tight outside, lumped leaf,
the fixed surface of `stages.slab`, uptake by Crank's series.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from wareleaf import air, leaf
from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.measure import BadInput, moisture_db_from_wb, moisture_wb_from_db
from wareleaf.stages._slab_surface import Surface, reached_db, surface_of
from wareleaf.stages.common import SECONDS_PER_HOUR, Array, cite, finite, relative_closure
from wareleaf.stages.slab_air import AirNow, SlabAir, figures, number
from wareleaf.stages.slab_blade import Blade, BladeResult, BladeRun

WATER_KG_M3 = 998.0
_TOLERANCE = 1e-6
_BAND = (
    4  # of the Jacobian; what all nodes do to the leaf's one temperature lies outside and is slow
)
_FALL_SHARE = 0.95  # of the first steady rate: below it the constant-rate time is over (own rule)


class _Equations:
    """The right-hand side. State: moisture at the nodes, leaf temperature, and per kg dry matter
    the water that left, the heat that came and the heat that the vapour carried off.
    """

    def __init__(
        self, blade: Blade, run: BladeRun, air_spec: SlabAir, surface: Surface | None = None
    ) -> None:
        self.blade, self.start_db = blade, float(moisture_db_from_wb(run.moisture_wb))
        self.half, self.d_ref, activation, reference = blade.filled()
        self.slope = activation / GAS_CONSTANT_J_MOL_K
        self.ref_k = reference + KELVIN
        self.nodes, self.width = blade.cells + 1, self.half / blade.cells
        self.share = np.full(self.nodes, self.width / self.half)
        self.share[[0, -1]] *= 0.5
        b = blade.solids_density_ratio
        self.solids_kg_m3 = b * WATER_KG_M3 / (1.0 + b * self.start_db)
        self.dry_kg_m2 = self.solids_kg_m3 * self.half
        self.surface = surface or surface_of(blade.leaf_id, air_spec.pressure_pa)
        self.air = AirNow(air_spec)

    def diffusivity(self, leaf_c: float) -> float:
        """At a leaf temperature, before shrinking."""
        return self.d_ref * math.exp(-self.slope * (1.0 / (leaf_c + KELVIN) - 1.0 / self.ref_k))

    def swell(self, moisture: Array) -> Array:
        """Thickness of a piece over its start."""
        b, shrink = self.blade.solids_density_ratio, self.blade.shrinkage
        return 1.0 - shrink + shrink * (1.0 + b * moisture) / (1.0 + b * self.start_db)

    def outward(self, time_s: float, surface_db: float, leaf_c: float) -> tuple[float, float]:
        """Water kg/(s m2) and heat W/m2 through the face: out, and in."""
        dry, ratio, pass_on = self.air.at(time_s)
        water = pass_on.water_kg_s_m2 * self.surface.over(ratio, surface_db, leaf_c)
        return water, pass_on.heat_w_m2_k * (dry - leaf_c)

    def __call__(self, time_s: float, y: Array) -> Array:
        """Slopes."""
        x, leaf_c = y[: self.nodes], float(y[self.nodes])
        water, heat = self.outward(time_s, float(x[-1]), leaf_c)
        between = self.swell(0.5 * (x[1:] + x[:-1])) ** (self.blade.diffusivity_power - 2.0)
        flux = -self.diffusivity(leaf_c) / self.width * between * np.diff(x)
        out = np.empty_like(y)
        moved = out[: self.nodes]
        moved[0] = -flux[0] / (0.5 * self.width)
        moved[1:-1] = (flux[:-1] - flux[1:]) / self.width
        moved[-1] = (flux[-1] - water / self.solids_kg_m3) / (0.5 * self.width)
        props = self.surface.props
        carried = water * (air.LATENT_HEAT_0C_J_KG + air.CP_VAPOUR_J_KG_K * leaf_c)
        by_water = self.share @ ((props.heat_water * leaf_c - self.surface.binding(x)) * moved)
        capacity = props.heat_dry + props.heat_water * float(self.share @ x)
        gained = (heat - carried) / self.dry_kg_m2
        out[self.nodes] = (gained - float(by_water)) / capacity
        out[self.nodes + 1 :] = np.array([water, heat, carried]) / self.dry_kg_m2
        return out

    def leaf_heat(self, x: Array, leaf_c: float) -> float:
        """Heat of the leaf, J/kg dry matter."""
        props = self.surface.props
        each = (props.heat_dry + props.heat_water * x) * leaf_c - self.surface.bound(x)
        return float(self.share @ each)


def _reached(blade: Blade, air_spec: SlabAir, start_db: float) -> Array:
    humidity, celsius = np.array(air_spec.relative_humidity), np.array(air_spec.dry_bulb_c)
    return reached_db(blade.leaf_id, humidity, celsius, start_db)


def simulate(
    blade: Blade,
    run: BladeRun,
    air_spec: SlabAir,
    points: int = 121,
    *,
    surface: Surface | None = None,
) -> BladeResult:
    """Dry a blade in its air.

    Parameters
    ----------
    blade, run, air_spec : Blade, BladeRun, SlabAir
        What dries, from where, and in what.
    points : int
        Of the course.
    surface : Surface, optional
        Another isotherm than the profile's, for tests and studies.
    """
    eq = _Equations(blade, run, air_spec, surface)
    time_s = np.linspace(0.0, run.duration_h * SECONDS_PER_HOUR, points)
    start = np.zeros(eq.nodes + 4)
    start[: eq.nodes], start[eq.nodes] = eq.start_db, run.leaf_temperature_c
    small = np.full(eq.nodes + 4, 0.1 * _TOLERANCE * max(1.0, eq.start_db))
    small[eq.nodes], small[-2:] = 10.0 * _TOLERANCE, 1e5 * _TOLERANCE
    knots = [t for t in eq.air.time_s.tolist() if 0.0 < t < time_s[-1]]
    whole = _legs(eq, start, time_s, knots, small)
    return _told(eq, run, air_spec, time_s, whole)


def _legs(eq: _Equations, start: Array, time_s: Array, knots: list[float], small: Array) -> Array:
    """March from knot to knot of the air, so that no step runs over a bend unseen."""
    edges = [0.0, *knots, float(time_s[-1])]
    columns, y = [start[:, None]], start
    for low, high in pairwise(edges):
        wanted = time_s[(time_s > low) & (time_s <= high)]
        grid = np.unique(np.append(wanted, high))
        found = solve_ivp(
            eq,
            (low, high),
            y,
            "LSODA",
            t_eval=grid,
            rtol=_TOLERANCE,
            atol=small,
            lband=_BAND,
            uband=_BAND,
        )
        if not found.success:
            raise BadInput("duration_h", high, f"The blade cannot be computed: {found.message}")
        y = found.y[:, -1]
        columns.append(found.y[:, np.isin(grid, wanted)])
    return np.concatenate(columns, axis=1)


def _told(
    eq: _Equations, run: BladeRun, air_spec: SlabAir, time_s: Array, whole: Array
) -> BladeResult:
    x, leaf_c = whole[: eq.nodes], whole[eq.nodes]
    mean = eq.share @ x
    rate = np.array(
        [
            eq.outward(t, s, c)[0] * SECONDS_PER_HOUR
            for t, s, c in zip(time_s.tolist(), x[-1].tolist(), leaf_c.tolist(), strict=True)
        ]
    )
    wet, steady = _wet_surface(eq, time_s)
    ends = _reached(eq.blade, air_spec, eq.start_db)
    lost, came, carried = (float(v) for v in whole[eq.nodes + 1 :, -1])
    before, after = (eq.leaf_heat(x[:, i], float(leaf_c[i])) for i in (0, -1))
    room = max(abs(eq.start_db - float(ends[0])), 1e-6)
    inside = eq.diffusivity(float(wet[0])) * eq.solids_kg_m3 * room / eq.half
    result = BladeResult(
        time_h=time_s / SECONDS_PER_HOUR,
        mean_db=mean,
        centre_db=x[0],
        surface_db=x[-1],
        leaf_c=leaf_c,
        wet_bulb_c=wet,
        rate_kg_h_m2=rate,
        thickness_m=eq.half * (eq.share @ eq.swell(x)),
        moisture_wb_out=float(mean[-1] / (1.0 + mean[-1])),
        equilibrium_wb=float(moisture_wb_from_db(float(ends[-1]))),
        constant_rate_h=_constant_h(time_s, rate / SECONDS_PER_HOUR, steady),
        heat_transfer_w_m2_k=eq.air.transfer,
        biot_heat=eq.air.transfer * eq.half / number("leaf.conductivity_w_m_k"),
        biot_moisture=float(steady[0]) / inside,
        leaf_temperature_max_c=float(leaf_c.max()),
        water_residual=relative_closure(eq.start_db - float(mean[-1]), lost, eq.start_db),
        energy_residual=relative_closure(after - before, came - carried, abs(carried)),
        warnings=(),
        sources=_sources(eq.blade.leaf_id),
    )
    return _warned(eq, air_spec, result)


def _wet_surface(eq: _Equations, time_s: Array) -> tuple[Array, Array]:
    """Wet bulb, and the flux of a surface that is wet through at it, kg/(s m2)."""
    pressure = eq.surface.props.pressure_pa
    each = [eq.air.at(t) for t in time_s.tolist()]
    dry, ratio = np.array([e[0] for e in each]), np.array([e[1] for e in each])
    wet = np.asarray(air.wet_bulb_c(dry, ratio, pressure), dtype=float)
    full = np.asarray(air.humidity_ratio(wet, 1.0, pressure), dtype=float)
    return wet, np.array([e[2].water_kg_s_m2 for e in each]) * (full - ratio)


def _constant_h(time_s: Array, rate: Array, steady: Array) -> float:
    """Hours until the rate last stood near that of a wet surface."""
    near = np.flatnonzero((rate >= _FALL_SHARE * steady) & (steady > 0.0))
    near = near[near > 0]
    return float(time_s[near[-1]]) / SECONDS_PER_HOUR if near.size else 0.0


@lru_cache(maxsize=32)
def _sources(leaf_id: str) -> tuple[str, ...]:
    own = ("desorption.", "adsorption.", "dry.", "half_thickness")
    profile = leaf.profile(leaf_id)
    rows = [f for f in profile.figures if f.quantity.startswith(own)]
    told = (f"{leaf.source_of(f).cite()} [{f.evidence}]" for f in rows)
    crank = "Crank J. The Mathematics of Diffusion: plane sheet (from memory)"
    return tuple(dict.fromkeys([crank, *cite(figures().values()), *told]))


def _warned(eq: _Equations, air_spec: SlabAir, found: BladeResult) -> BladeResult:
    said = []
    if found.biot_heat > number("leaf.biot_heat_most"):
        said.append(
            f"The Biot number of heat is {found.biot_heat:.2g}; above 0.1 the middle of the leaf "
            "is colder than its face, which is left out here."
        )
    if eq.blade.diffusivity_m2_s is None:
        said.append(
            "The diffusivity is taken from the profile's rate constant; fit it from your own runs "
            "(fit-drying with half_thickness_m)."
        )
        if eq.blade.shrinkage > 0.0:
            said.append("That diffusivity belongs to a slab that keeps its thickness.")
    limit = leaf.profile(eq.blade.leaf_id).leaf_temperature_max_c
    if found.leaf_temperature_max_c > limit:
        said.append(
            f"The leaf reaches {found.leaf_temperature_max_c:.0f} degC; its limit is {limit:g}."
        )
    path = [eq.start_db, *_reached(eq.blade, air_spec, eq.start_db).tolist()]
    if any(after > before for before, after in pairwise(path)):
        said.append("The air is damper than the leaf for a while: it takes up water.")
    if air_spec.length_m > 0.0 and air_spec.heat_transfer_w_m2_k is None:
        said.append(
            "Heat transfer is that of a smooth plate along the wind, from memory; curled leaf "
            "and a rough stream take more. Give heat_transfer_w_m2_k as measured where you can."
        )
    return replace(found, warnings=tuple(said))


def hours_to(blade: Blade, run: BladeRun, air_spec: SlabAir, target_wb: float) -> float:
    """Hours until the mean moisture is at the target; infinite when not within the run.

    Raises
    ------
    BadInput
        Target at or above the start, or at or below the driest that this air can bring (which the
        sentence names).
    """
    start_db = float(moisture_db_from_wb(run.moisture_wb))
    path = _reached(blade, air_spec, start_db)
    driest = float(moisture_wb_from_db(float(path.min())))
    finite("target_moisture_wb", target_wb, 0.0, 0.98, above=True)
    if driest >= run.moisture_wb - 1e-9:
        raise BadInput(
            "target_moisture_wb",
            target_wb,
            f"target_moisture_wb is {target_wb:g}; this air takes no water from leaf at "
            f"{run.moisture_wb:g}: give drier air.",
        )
    if not driest < target_wb < run.moisture_wb:
        raise BadInput(
            "target_moisture_wb",
            target_wb,
            f"target_moisture_wb is {target_wb:g}; this air takes the leaf from "
            f"{run.moisture_wb:g} to {driest:.3g} and no drier, give a target between.",
        )
    found = simulate(blade, run, air_spec, points=601)
    return crossing_h(found, target_wb)


def crossing_h(found: BladeResult, target_wb: float) -> float:
    """Hour at which a course first stands at the target; infinite when it never does."""
    target = float(moisture_db_from_wb(target_wb))
    below = np.flatnonzero(found.mean_db <= target)
    if below.size == 0:
        return math.inf
    i, x, t = int(below[0]), found.mean_db, found.time_h
    if i == 0:
        return 0.0
    share = (x[i - 1] - target) / (x[i - 1] - x[i])
    return float(t[i - 1] + share * (t[i] - t[i - 1]))
