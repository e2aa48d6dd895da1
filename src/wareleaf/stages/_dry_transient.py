"""Start-up of a belt and a gap in its feed: the same cells, marched in time.

In a time step every cell hands its leaf on: a part ``p = dt/dt_zone`` of what it holds is replaced
by leaf of the cell before, dried for a step as in the steady march; with p = 1 that is the belt's
own motion without any smearing. The return air of a zone is its exhaust of the step before (the
duct holds it so long). Where nothing moves any more the cells hold the steady solution.

Belt and air are of the run's settings; the time that the machine itself takes to warm up is left
out, so hot air is taken to stand at its set point from the start. The vapour of a
direct flame follows the heat that the return air of that step asks for. An empty stretch is
reckoned with a millionth of the load, which is in the balances like any other leaf.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wareleaf.air import specific_volume_m3_kg
from wareleaf.measure import moisture_wb_from_db, require
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_cell import Air, Bed, Leaf, air_dry_bulb, air_enthalpy, cell
from wareleaf.stages._dry_heat_source import after_coil, flame_water_kg_j
from wareleaf.stages._dry_load import DryRun, check_run
from wareleaf.stages._dry_march import turn
from wareleaf.stages._dry_solve import scenarios, solve, zone_steps
from wareleaf.stages._dry_spec import BeltDryer, Zone
from wareleaf.stages._dry_tables import by_dry_bulb, tables
from wareleaf.stages._dry_transient_state import Stretch, TransientResult
from wareleaf.stages.common import SECONDS_PER_HOUR, Array, finite, relative_closure

_EMPTY, _STILL_M_S = 1e-6, 1e-6
_STEPS_MOST = 50000
_FLAMES = 8  # rounds that close the vapour of a flame


def transient(
    dryer: BeltDryer,
    run: DryRun,
    hours: float,
    gaps: tuple[tuple[float, float], ...] = (),
    *,
    running: bool = False,
    tolerance_wb: float = 0.01,
) -> TransientResult:
    """March a belt in time, from empty or from its steady state, with gaps in the feed.

    Parameters
    ----------
    dryer : BeltDryer
        The belt.
    run : DryRun
        Leaf, full feed and air.
    hours : float
        How long.
    gaps : tuple of (start, end) in hours
        When no leaf is fed.
    running : bool
        Whether the belt starts at its steady state (else: empty, air at its set points).
    tolerance_wb : float
        From there on product counts as wetter or drier than steady.
    """
    check_run(dryer, run)
    finite("hours", hours, 0.0, 240.0, "h", above=True)
    finite("tolerance_wb", tolerance_wb, 0.0, 0.5, above=True)
    require(
        isinstance(dryer, BeltDryer),
        "dryer",
        type(dryer).__name__,
        "dryer must be a belt; trays and fluid beds have no such transient.",
    )
    for number, (start, end) in enumerate(gaps, start=1):
        require(
            0.0 <= start <= hours and start < end < math.inf,
            "gaps",
            (start, end),
            f"Gap {number} is from {start:g} to {end:g} h; it must start within the {hours:g} h "
            "that are watched and end after it starts.",
        )
    return _March(dryer, run, running).over(hours, gaps, tolerance_wb)


class _March:
    """A belt on its way through time."""

    def __init__(self, dryer: BeltDryer, run: DryRun, running: bool) -> None:
        self.dryer, self.run, self.many = dryer, run, scenarios(dryer, run)
        self.props = tables(run.leaf_profile(), run.pressure_pa)
        steady = solve(dryer, run, self.many)
        self.steady_wb = float(moisture_wb_from_db(steady.moisture_db[0]))
        self.full = float(self.many.dry_load_kg_m2[0])
        self.ambient = float(self.many.ambient_ratio[0])
        self.flame = flame_water_kg_j(dryer.heater)
        spans = [
            run.residence_h * SECONDS_PER_HOUR * z.share / zone_steps(dryer, z) for z in dryer.zones
        ]
        self.dt = min(spans)
        self.stretches = []
        hidden = 0.0
        for n, (zone, span, state) in enumerate(zip(dryer.zones, spans, steady.zones, strict=True)):
            steps, shape = zone_steps(dryer, zone), (zone_steps(dryer, zone), dryer.layers)
            side = slice(None, None, -1) if zone.direction == "down" else slice(None)
            if zone.remix and n > 0:
                before = steady.zones[n - 1]
                entering = Leaf(before.moisture[:, :, -1], before.leaf_c[:, :, -1])
                hidden += float(turn(self.props, entering)[1][0])
            if running:
                x, c = state.moisture[0, side, 1:].T.copy(), state.leaf_c[0, side, 1:].T.copy()
                ratio = float(state.inlet_ratio[0])
            else:
                x = np.full(shape, self.many.moisture_db[0])
                c = np.full(shape, self.many.leaf_c[0])
                ratio = self._unloaded(zone, float(state.inlet_c[0]))
            load = np.full(steps, self.full * (1.0 if running else _EMPTY))
            self.stretches.append(
                Stretch(
                    zone,
                    self._bed(zone, span),
                    self.dt / span,
                    span,
                    dryer.area_m2 * zone.share / steps,
                    x,
                    c,
                    load,
                    np.full(steps, hidden if running else 0.0),
                    float(state.inlet_c[0]),
                    ratio,
                )
            )
        self.start = self._stock()
        self.fed, self.given = np.zeros(2), np.zeros(2)  # water kg and heat J, in and to the air
        self.left = np.zeros(2)
        if running:  # the halfway air of the cells settles before the clock starts
            for _ in range(12):
                for s in self.stretches:
                    self._pass(s, *self._feed_of(s, self.full))

    def _bed(self, zone: Zone, span_s: float) -> Callable[[Array, float, float], Bed]:
        profile, run, dryer = self.run.leaf_profile(), self.run, self.dryer
        table = by_dry_bulb(profile, run.pressure_pa, zone.velocity_m_s)
        surface = dryer.exposure * profile.specific_surface_m2_kg

        def make(load: Array, inlet_c: float, ratio: float) -> Bed:
            volume = specific_volume_m3_kg(inlet_c, ratio, run.pressure_pa)
            flux = np.full((load.size, 1), zone.velocity_m_s / float(volume))
            return Bed(
                tables=self.props,
                by_dry_bulb=table,
                rate_factor=np.full((load.size, 1), run.rate_multiplier),
                flux=flux,
                layer_kg_m2=load[:, None] / dryer.layers,
                conductance=surface
                * transfer_w_m2_k(flux * (1.0 + ratio), profile.half_thickness_m),
                dt_s=np.full((load.size, 1), span_s),
                steps=1,
            )

        return make

    def over(
        self, hours: float, gaps: tuple[tuple[float, float], ...], tolerance_wb: float
    ) -> TransientResult:
        """March for some hours."""
        steps = max(1, round(hours * SECONDS_PER_HOUR / self.dt))
        most_h = _STEPS_MOST * self.dt / SECONDS_PER_HOUR
        require(
            steps <= _STEPS_MOST,
            "hours",
            hours,
            f"hours is {hours:g}; with steps of {self.dt:.1f} s it is at most {most_h:.3g}. "
            "Ask for less, or give the belt fewer steps.",
        )
        seen: list[tuple[float, ...]] = []
        exhausts: list[tuple[float, ...]] = []
        for n in range(steps):
            middle = (n + 0.5) * self.dt / SECONDS_PER_HOUR
            fed = not any(start <= middle < end for start, end in gaps)
            exhausts.append(self._step(self.full * (1.0 if fed else _EMPTY)))
            seen.append(self._seen((n + 1) * self.dt / SECONDS_PER_HOUR))
        return self._result(seen, exhausts, tolerance_wb)

    def _feed_of(self, stretch: Stretch, feed: float) -> tuple[Leaf, float, float]:
        """Leaf (1, layer) from the bottom up, load and hidden heat that enter a stretch."""
        n = self.stretches.index(stretch)
        if n == 0:
            shape = (1, self.dryer.layers)
            moisture, leaf_c = self.many.moisture_db[0], self.many.leaf_c[0]
            leaf, load, hidden = Leaf(np.full(shape, moisture), np.full(shape, leaf_c)), feed, 0.0
        else:
            last = self.stretches[n - 1]
            leaf = Leaf(last.x[-1:, last.side], last.c[-1:, last.side])
            load, hidden = float(last.load[-1]), float(last.hidden[-1])
        if stretch.zone.remix:
            leaf, more = turn(self.props, leaf)
            hidden += float(more[0])
        return leaf, load, hidden

    def _pass(
        self, s: Stretch, leaf: Leaf, load: float, hidden: float
    ) -> tuple[Leaf, Array, Array, Air, Array]:
        """Leaf, load and hidden heat handed to each column; the air that leaves; the air flux."""
        x_in = np.concatenate([leaf.moisture[:, s.side], s.x[:-1]])
        c_in = np.concatenate([leaf.temperature_c[:, s.side], s.c[:-1]])
        load_in = np.append(load, s.load[:-1])
        hidden_in = np.append(hidden, s.hidden[:-1])
        zero = np.zeros((1, self.dryer.layers))
        half_c = np.concatenate([zero, s.half.dry_bulb[:-1]])
        half_w = np.concatenate([zero, s.half.ratio[:-1]])
        air = Air(np.full((s.load.size, 1), s.inlet_c), np.full((s.load.size, 1), s.inlet_ratio))
        if s.zone.velocity_m_s < _STILL_M_S:
            return Leaf(x_in, c_in), load_in, hidden_in, air, np.zeros(s.load.size)
        bed = s.bed(load_in, s.inlet_c, s.inlet_ratio)
        x, c = np.empty_like(x_in), np.empty_like(c_in)
        new_c, new_w = np.empty_like(x), np.empty_like(x)
        for j in range(self.dryer.layers):
            k = slice(j, j + 1)
            half = Air(half_c[:, k], half_w[:, k])
            (x[:, k], c[:, k]), out = cell(bed, Leaf(x_in[:, k], c_in[:, k]), air, half)
            new_c[:, k] = 0.5 * (out.dry_bulb - air.dry_bulb)
            new_w[:, k] = 0.5 * (out.ratio - air.ratio)
            air = out
        p = s.part
        s.half = Air(
            s.half.dry_bulb + p * (new_c - s.half.dry_bulb),
            s.half.ratio + p * (new_w - s.half.ratio),
        )
        return Leaf(x, c), load_in, hidden_in, air, bed.flux[:, 0]

    def _step(self, feed: float) -> tuple[float, ...]:
        """Advance all stretches by a time step; gives their exhaust temperatures."""
        entering = [self._feed_of(s, feed) for s in self.stretches]
        moved = self.dt * self.dryer.area_m2 / (self.run.residence_h * SECONDS_PER_HOUR)
        leaf, load, hidden = entering[0]
        self.fed += moved * load * self._held(leaf, np.array([hidden]))[0]
        last = self.stretches[-1]
        self.left += (
            moved * last.load[-1] * self._held(Leaf(last.x[-1:], last.c[-1:]), last.hidden[-1:])[0]
        )
        exhaust = []
        for s, (leaf, load, hidden) in zip(self.stretches, entering, strict=True):
            into = Leaf(leaf.moisture.copy(), leaf.temperature_c.copy())
            made, load_in, hidden_in, air, flux = self._pass(s, into, load, hidden)
            self._hand_on(s, made, load_in, hidden_in)
            exhaust.append(self._breathe(s, air, flux))
        return tuple(exhaust)

    def _hand_on(self, s: Stretch, made: Leaf, load_in: Array, hidden_in: Array) -> None:
        p = s.part
        if p > 1.0 - 1e-9:
            (s.x, s.c), s.load, s.hidden = made, load_in, hidden_in
            return
        load = s.load + p * (load_in - s.load)
        old, new = ((1.0 - p) * s.load / load)[:, None], (p * load_in / load)[:, None]
        heat = old * self.props.leaf_heat(s.x, s.c) + new * self.props.leaf_heat(*made)
        s.x = old * s.x + new * made.moisture
        s.c = self.props.leaf_c(heat, s.x)
        s.hidden = old[:, 0] * s.hidden + new[:, 0] * hidden_in
        s.load = load

    def _breathe(self, s: Stretch, air: Air, flux: Array) -> float:
        """Book what the air took, and mix the inlet air of the next step."""
        ratio = np.array([air.ratio.mean()])
        enthalpy = np.array([air_enthalpy(air.dry_bulb, air.ratio).mean()])
        passed = float(flux[0]) * self.dryer.area_m2 * s.zone.share * self.dt
        entered = air_enthalpy(np.array(s.inlet_c), np.array(s.inlet_ratio))
        self.given += passed * np.array([ratio[0] - s.inlet_ratio, enthalpy[0] - float(entered)])
        if s.zone.recirculated > 0.0:
            mixed = self._mixed(s.zone, s.inlet_c, ratio, enthalpy)
            most = float(self.props.saturated_ratio(np.array(s.inlet_c)))
            s.inlet_ratio = min(mixed, max(most, self.ambient))
        return float(air_dry_bulb(enthalpy, ratio)[0])

    def _mixed(self, zone: Zone, inlet_c: float, ratio: Array, enthalpy: Array) -> float:
        """Humidity ratio of exhaust and fresh air, with the vapour of the flame that heats them."""
        r, added = zone.recirculated, 0.0
        back, behind, _, _ = after_coil(zone, self.props, ratio, enthalpy)
        fired = self.flame > 0.0 and zone.inlet_c is not None
        for _ in range(_FLAMES if fired else 0):
            fresh = self.ambient + added
            hot = air_enthalpy(np.array(inlet_c), r * back + (1.0 - r) * fresh)
            cold = air_enthalpy(self.many.ambient_c, np.array([fresh]))
            duty = float((hot - r * behind - (1.0 - r) * cold)[0])
            added = max(duty, 0.0) / (1.0 - r) * self.flame
        return r * float(back[0]) + (1.0 - r) * (self.ambient + added)

    def _unloaded(self, zone: Zone, inlet_c: float) -> float:
        """Humidity ratio of the inlet where no leaf gives water: the exhaust is the inlet."""
        ratio = self.ambient
        for _ in range(_FLAMES if self.flame else 0):
            heat = air_enthalpy(np.array([inlet_c]), np.array([ratio]))
            ratio = self._mixed(zone, inlet_c, np.array([ratio]), heat)
        return ratio

    def _held(self, leaf: Leaf, hidden: Array) -> Array:
        """Water kg and heat J in a kg of dry matter, by column (column, 2)."""
        heat = self.props.leaf_heat(*leaf).mean(axis=1) + hidden
        return np.stack([leaf.moisture.mean(axis=1), heat], axis=1)

    def _stock(self) -> Array:
        """Water kg and heat J on the belt."""
        found = np.zeros(2)
        for s in self.stretches:
            found += s.area_m2 * (s.load[:, None] * self._held(Leaf(s.x, s.c), s.hidden)).sum(
                axis=0
            )
        return found

    def _seen(self, time_h: float) -> tuple[float, ...]:
        last = self.stretches[-1]
        moisture = float(last.x[-1].mean())
        load = float(last.load[-1])
        rate = load * self.dryer.area_m2 / self.run.residence_h
        hottest = max(float(s.c[s.load > 10.0 * _EMPTY * self.full].max(initial=-50.0))
                      for s in self.stretches)  # fmt: skip
        wb = float(moisture_wb_from_db(moisture))
        return time_h, rate * (1.0 + moisture), wb, load / self.full, hottest

    def _result(
        self,
        seen: list[tuple[float, ...]],
        exhausts: list[tuple[float, ...]],
        tolerance_wb: float,
    ) -> TransientResult:
        time_h, product, wet, load, hottest = (tuple(v) for v in zip(*seen, strict=True))
        each_h = self.dt / SECONDS_PER_HOUR
        off = np.array(wet) - self.steady_wb
        kg = np.array(product) * each_h
        short = self.start + self.fed - self.left - self.given - self._stock()
        scale = np.abs(self.start) + np.abs(self.fed)
        return TransientResult(
            time_h=time_h,
            product_kg_h=product,
            moisture_wb_out=wet,
            load=load,
            exhaust_c=tuple(zip(*exhausts, strict=True)),
            leaf_temperature_max_c=hottest,
            moisture_wb_steady=self.steady_wb,
            wet_kg=float(kg[off > tolerance_wb].sum()),
            dry_kg=float(kg[off < -tolerance_wb].sum()),
            water_residual=relative_closure(float(short[0]), 0.0, float(scale[0])),
            energy_residual=relative_closure(float(short[1]), 0.0, float(scale[1])),
        )
