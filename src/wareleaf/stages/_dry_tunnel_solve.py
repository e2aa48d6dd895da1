"""The tunnel at steady state: all cells at once by Newton's rule, with or against the air.

Trucks roll through in a train, so the tunnel is a line of cells: leaf comes from the cell before,
air from the cell before (co-current) or after (counter-current). A cell is that of `_dry_cell`,
its air midway being that of this very cell. What leaves every cell (moisture and temperature of
the leaf, dry bulb and humidity of the air) and the humidity of the inlet are the unknowns; the
Jacobian comes from one call with every input of every cell moved a little. The air flow is brought
down from one so large that the leaf cannot change it, which keeps Newton near its root.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wareleaf.air import CP_WATER_J_KG_K, enthalpy_j_kg, specific_volume_m3_kg
from wareleaf.measure import BadInput
from wareleaf.stages._dry_cell import Air, Bed, Leaf, cell
from wareleaf.stages._dry_figures import number
from wareleaf.stages._dry_tables import Tables
from wareleaf.stages.common import Array

_FLOWS = (300.0, 60.0, 15.0, 5.0, 2.0, 1.0)  # times the true air flow
_FLAMES, _FLAME_NEAR = 12, 1e-9
_MOST, _SMOOTH = 60, 12  # Newton steps, and how many before shorter ones take turns
_INPUTS, _OUTPUTS = 7, 4
_MOVED = np.array([1e-6, 1e-4, 1e-4, 1e-7, 1e-4, 1e-7, 1e-7])
_SMALL = np.array([1e-10, 1e-8, 1e-8, 1e-11])


@dataclass(frozen=True, eq=False)
class Line:
    """What the cells of a tunnel share, in SI units; see `solve_line`."""

    tables: Tables
    by_dry_bulb: Array
    rate_factor: float
    cells: int
    counter: bool
    dry_feed_kg_s: float
    stay_s: float
    velocity_m_s: float
    free_area_m2: float
    exchange_m2_kg: float
    inlet_c: float
    recirculated: float
    ambient_c: float
    ambient_ratio: float
    feed: tuple[float, float]  # moisture db, degC
    added_ratio: float = 0.0  # combustion vapour, kg per kg of fresh dry air

    @property
    def fresh_ratio(self) -> float:
        """Humidity ratio of the fresh air, with the vapour of a flame."""
        return self.ambient_ratio + self.added_ratio


@dataclass(frozen=True, eq=False)
class Solution:
    """Leaf that leaves and air that leaves each cell, in the leaf's order; and the inlet air."""

    moisture: Array
    leaf_c: Array
    air_c: Array
    ratio: Array
    inlet_ratio: float
    air_kg_s: float
    drained: float  # kg/kg dry air, where the return air is over saturation at the set point

    def exhaust(self, counter: bool) -> tuple[float, float]:
        """Dry bulb and humidity ratio at the air's end."""
        end = 0 if counter else -1
        return float(self.air_c[end]), float(self.ratio[end])


def tray_transfer_w_m2_k(mass_flux_kg_m2_s: Array) -> Array:
    """Heat transfer to a tray from air along it: ``h = 0.0204 G^0.8``, G in kg/(h m2).

    Geankoplis 3e, example 9.6-3 (in the notebook of a textbook companion). It holds for air at 45
    to 150 degC and G of 2450 to 29300; below that it is extended.
    """
    per_h = mass_flux_kg_m2_s * 3600.0
    found: Array = number("tunnel.h_factor") * per_h ** number("tunnel.h_power")
    return found


def solve_line(line: Line, start: Solution | None = None) -> Solution:
    """Steady state of a tunnel, from a near solution if there is one.

    Raises
    ------
    BadInput
        When no steady state is found.
    """
    if start is not None:
        near = np.stack([start.moisture, start.leaf_c, start.air_c, start.ratio])
        found = _newton(line, near, start.inlet_ratio, 1.0)
        if found is not None:
            return _finished(line, *found)
    found = _from_free_air(line)
    if found is None and line.recirculated > 0.0:
        found = _inlet_apart(line)
    if found is None:
        raise BadInput(
            "velocity_m_s",
            line.velocity_m_s,
            f"velocity_m_s is {line.velocity_m_s:g}: no steady state is found at this feed; "
            "give more air, less feed or another count of cells.",
        )
    return _finished(line, *found)


def duty_j_kg(line: Line, found: Solution) -> float:
    """Heat that the heater gives each kg of the tunnel's dry air, J/kg.

    What drains from the return air takes its heat along.
    """
    r = line.recirculated
    back = float(enthalpy_j_kg(*found.exhaust(line.counter)))
    fresh = float(enthalpy_j_kg(line.ambient_c, line.fresh_ratio))
    inlet = float(enthalpy_j_kg(line.inlet_c, found.inlet_ratio))
    return inlet - r * back - (1.0 - r) * fresh + found.drained * CP_WATER_J_KG_K * line.inlet_c


def solve_fired(
    line: Line, vapour_kg_j: float, start: Solution | None = None
) -> tuple[Line, Solution]:
    """Steady state with the vapour of a direct flame in the fresh air.

    The vapour follows from the heat, and the heat hardly from it, so a few rounds close it.

    Parameters
    ----------
    line : Line
        The tunnel.
    vapour_kg_j : float
        Of the flame per joule that the air takes up; 0 without a flame.
    start : Solution or None
        A near solution.
    """
    found = solve_line(line, start)
    for _ in range(_FLAMES):
        added = max(duty_j_kg(line, found), 0.0) / (1.0 - line.recirculated) * vapour_kg_j
        if abs(added - line.added_ratio) <= _FLAME_NEAR * added + 1e-15:
            break
        line = replace(line, added_ratio=added)
        found = solve_line(line, found)
    return line, found


def _from_free_air(line: Line) -> tuple[Array, float] | None:
    state, inlet, found = _free_air(line), line.fresh_ratio, None
    for flow in _FLOWS:
        found = _newton(line, state, inlet, flow)
        if found is not None:
            state, inlet = found
    return found


def _inlet_apart(line: Line) -> tuple[Array, float] | None:
    """The inlet humidity by a bracketed root, each time with all cells solved for it."""
    from scipy.optimize import brentq  # with the module, every first call of a dryer would wait

    state: list[Array] = []

    def over(ratio: float) -> float:
        fixed = replace(line, recirculated=0.0, ambient_ratio=ratio, added_ratio=0.0)
        near = _newton(fixed, state[-1], ratio, 1.0) if state else None
        found = near or _from_free_air(fixed)
        if found is None:
            raise ArithmeticError
        state.append(found[0])
        returned = float(found[0][3, 0 if line.counter else -1])
        return line.recirculated * returned + (1.0 - line.recirculated) * line.fresh_ratio - ratio

    low = 0.5 * line.ambient_ratio
    high = float(line.tables.saturated_ratio(np.array(line.inlet_c)))
    try:
        if over(high) > 0.0:
            return state[-1], high
        inlet = float(brentq(over, low, high, xtol=1e-13, rtol=1e-12))
        over(inlet)
    except (ArithmeticError, ValueError):
        return None
    return state[-1], inlet


def _finished(line: Line, state: Array, inlet: float) -> Solution:
    x, c, t, w = state
    returned = w[0 if line.counter else -1]
    r = line.recirculated
    drained = max(r * returned + (1.0 - r) * line.fresh_ratio - inlet, 0.0) if r else 0.0
    flow = float(_air_kg_s(line, np.array(inlet)))
    return Solution(x, c, t, w, inlet, flow, drained if drained > 1e-9 else 0.0)


def _air_kg_s(line: Line, inlet_ratio: Array) -> Array:
    volume = specific_volume_m3_kg(line.inlet_c, inlet_ratio, line.tables.pressure_pa)
    return np.asarray(line.velocity_m_s * line.free_area_m2 / volume, dtype=np.float64)


def _step(line: Line, given: Array, flow: float) -> Array:
    """Outputs (4, n) of cells from their inputs (7, n): leaf, air, half change of air, inlet."""
    x, c, t, w, half_c, half_w, inlet = (row[:, None] for row in given)
    air = _air_kg_s(line, inlet)
    dt = line.stay_s / line.cells
    per_m2 = air * (1.0 + inlet) / line.free_area_m2
    bed = Bed(
        tables=line.tables,
        by_dry_bulb=line.by_dry_bulb,
        rate_factor=np.full_like(x, line.rate_factor),
        flux=air * flow,
        layer_kg_m2=np.full_like(x, line.dry_feed_kg_s * dt),
        conductance=line.exchange_m2_kg * tray_transfer_w_m2_k(per_m2),
        dt_s=np.full_like(x, dt),
        steps=1,
    )
    (x1, c1), (t1, w1) = cell(bed, Leaf(x, c), Air(t, w), Air(half_c, half_w))
    return np.stack([x1, c1, t1, w1])[:, :, 0]


def _given(line: Line, state: Array, inlet: float) -> Array:
    """Inputs of all cells from what leaves them."""
    x, c, t, w = state
    into = np.empty((_INPUTS, line.cells))
    into[0], into[1] = np.append(line.feed[0], x[:-1]), np.append(line.feed[1], c[:-1])
    if line.counter:
        into[2], into[3] = np.append(t[1:], line.inlet_c), np.append(w[1:], inlet)
    else:
        into[2], into[3] = np.append(line.inlet_c, t[:-1]), np.append(inlet, w[:-1])
    into[4], into[5], into[6] = 0.5 * (t - into[2]), 0.5 * (w - into[3]), inlet
    return into


def _links(line: Line) -> Array:
    """How the inputs hang on the unknowns: (cell, input, unknown), the inlet humidity last."""
    n = line.cells
    p = np.zeros((n, _INPUTS, _OUTPUTS * n + 1))
    for i in range(n):
        if i > 0:
            p[i, 0, i - 1] = p[i, 1, n + i - 1] = 1.0
        before = i + 1 if line.counter else i - 1
        for row, base in ((2, 2 * n), (3, 3 * n)):
            if 0 <= before < n:
                p[i, row, base + before] = 1.0
            elif row == 3:
                p[i, row, -1] = 1.0
            p[i, row + 2] = -0.5 * p[i, row]
            p[i, row + 2, base + i] += 0.5
        p[i, 6, -1] = 1.0
    return p


def _newton(line: Line, state: Array, inlet: float, flow: float) -> tuple[Array, float] | None:
    """Root from a start; None when it is not found."""
    n, links = line.cells, _links(line)
    end = 3 * n + (0 if line.counter else n - 1)
    limit = float(line.tables.saturated_ratio(np.array(line.inlet_c)))
    r, state = line.recirculated, state.copy()
    offsets = np.concatenate([np.zeros((1, _INPUTS)), np.diag(_MOVED)]).T
    for count in range(_MOST):
        given = _given(line, state, inlet)
        moved = given[:, None, :] + offsets[:, :, None]
        out = _step(line, moved.reshape(_INPUTS, -1), flow).reshape(_OUTPUTS, _INPUTS + 1, n)
        slope = (out[:, 1:] - out[:, :1]) / _MOVED[None, :, None]
        short = np.append((state - out[:, 0]).ravel(), 0.0)
        jacobian = np.zeros((_OUTPUTS * n + 1, _OUTPUTS * n + 1))
        jacobian[:-1] = -np.einsum("oin,nik->onk", slope, links).reshape(_OUTPUTS * n, -1)
        jacobian[np.arange(_OUTPUTS * n), np.arange(_OUTPUTS * n)] += 1.0
        returned = r * state[3, end - 3 * n] + (1.0 - r) * line.fresh_ratio
        full = inlet >= limit and returned >= limit
        jacobian[-1, -1], short[-1] = 1.0, 0.0 if full else inlet - returned
        if not full:
            jacobian[-1, end] = -r
        step = -np.linalg.solve(jacobian, short)
        change = step[:-1].reshape(_OUTPUTS, n)
        whole = 1.0 if count < _SMOOTH else (1.0, 0.5, 0.25)[count % 3]
        part = min(whole, 25.0 / (np.abs(change[1:3]).max() + 1e-30))
        state = state + part * change
        state[0] = np.maximum(state[0], 1e-7)
        state[1:3] = np.clip(state[1:3], -25.0, 165.0)
        state[3] = np.maximum(state[3], 1e-7)
        inlet = float(np.clip(inlet + part * step[-1], 1e-7, max(limit, line.fresh_ratio)))
        if np.all(np.abs(change).max(axis=1) < _SMALL):
            return state, inlet
    return None


def _free_air(line: Line) -> Array:
    """The leaf in air that does not change."""
    state = np.empty((_OUTPUTS, line.cells))
    state[2], state[3] = line.inlet_c, line.fresh_ratio
    one = np.array([[*line.feed, line.inlet_c, line.fresh_ratio, 0, 0, line.fresh_ratio]]).T
    for i in range(line.cells):
        out = _step(line, one, 1e6)
        state[:2, i] = one[:2, 0] = out[:2, 0]
    return state
