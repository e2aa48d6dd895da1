"""Carry a load through its hours for any number of cases, and keep the accounts of both sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf import air
from wareleaf.stages._wither_air import Inlet, Stretch, Weather, inlet, outside, stretches, weather
from wareleaf.stages._wither_bed import Blow, fresh_past, march
from wareleaf.stages._wither_bedding import fresh_state, make_bed
from wareleaf.stages._wither_fan import WorkingPoint, working_point
from wareleaf.stages._wither_leaf import Bed, Past, State
from wareleaf.stages._wither_spec import Trough, WitherRun
from wareleaf.stages.common import Array


@dataclass(frozen=True)
class Cases:
    """Runs side by side that differ in rate, arriving moisture and extra heating: (cases,) each."""

    rate_factor: Array
    moisture_wb: Array
    more_heating_k: Array

    @classmethod
    def one(cls, run: WitherRun) -> Cases:
        """The run as it is."""
        return cls(np.ones(1), np.array([run.moisture_wb]), np.zeros(1))


@dataclass(frozen=True)
class History:
    """All that happened; series are (steps, layers, cases) or (steps, cases), bottom first.

    Sums are per m2 of net by case: what the air gained between inlet and outlet, and what the leaf
    lost between start and end, each from its own quantities.
    """

    point: WorkingPoint
    sky: Weather
    time_h: Array
    total_db: Array
    leaf_c: Array
    in_c: Array
    in_w: Array
    out_c: Array
    out_w: Array
    pressure_pa: Array
    upward: Array
    fan_on_s: float
    heater_j_m2: Array
    air_water_kg_m2: Array
    air_heat_j_m2: Array
    air_exchanged_j_m2: Array
    leaf_water_kg_m2: Array
    leaf_heat_j_m2: Array
    held_heat_j_m2: Array
    dry_kg_m2: Array

    @property
    def mean_db(self) -> Array:
        """Moisture of the whole bed on dry basis, (steps, cases)."""
        return np.mean(self.total_db, axis=1)

    @property
    def mean_wb(self) -> Array:
        """Moisture of the whole bed on wet basis, (steps, cases)."""
        return self.mean_db / (1.0 + self.mean_db)


@dataclass(frozen=True)
class _Wind:
    """Direction and step of the last blow, and what the layers did in its last step."""

    past: Past
    upward: bool
    step_s: float

    def onward(self, stretch: Stretch, state: State) -> _Wind:
        """For the next blow: goes on from the last one unless the air is turned round."""
        if stretch.upward != self.upward:
            past = fresh_past(state)
        else:
            c, w, db, gone = self.past
            longer = stretch.step_s / self.step_s
            past = Past(c, w, db * longer, gone * longer)
        return _Wind(past, stretch.upward, stretch.step_s)


@dataclass
class _Books:
    """Series and sums while they are being made."""

    series: dict[str, list[Array]]
    fan_on_s: float
    heater: Array
    water: Array
    heat: Array
    exchanged: Array

    def note(self, **values: Array) -> None:
        for name, value in values.items():
            self.series.setdefault(name, []).append(value)


def carry(trough: Trough, run: WitherRun, cases: Cases) -> History:
    """Carry a load through its hours.

    Raises
    ------
    BadInput
        When the fan cannot lift air through the load, or the leaf profile is unknown.
    """
    point = working_point(trough, run)
    sky = weather(run, cases.more_heating_k)
    first_c = float(sky.dry_bulb_c[0]) + float(sky.heating_k[0, 0])
    bed = make_bed(trough, run, point, sky, cases.moisture_wb)
    start_c = first_c if run.leaf_temperature_c is None else run.leaf_temperature_c
    state = fresh_state(trough, run, cases.moisture_wb, start_c)
    water_start, heat_start = state.water_kg_m2(bed), state.enthalpy_j_m2(bed)
    zero = np.zeros(cases.rate_factor.size)
    books = _Books({}, 0.0, zero, zero, zero, zero)
    wind = _Wind(fresh_past(state), upward=True, step_s=1.0)
    cut = stretches(run)
    for stretch, entering in zip(cut, inlet(sky, cut, point, trough), strict=True):
        if stretch.fan_on:
            wind = wind.onward(stretch, state)
            leaf = bed, run.rate_factor * cases.rate_factor
            _blow((state, wind.past), stretch, entering, leaf, books)
        else:
            _stand(state, stretch, sky, books)
    joined = {name: np.concatenate(parts) for name, parts in books.series.items()}
    return History(
        point=point,
        sky=sky,
        **joined,
        fan_on_s=books.fan_on_s,
        heater_j_m2=books.heater,
        air_water_kg_m2=books.water,
        air_heat_j_m2=books.heat,
        air_exchanged_j_m2=books.exchanged,
        leaf_water_kg_m2=water_start - state.water_kg_m2(bed),
        leaf_heat_j_m2=heat_start - state.enthalpy_j_m2(bed),
        held_heat_j_m2=heat_start,
        dry_kg_m2=bed.layer_dry_kg_m2 * trough.n_layers,
    )


def _blow(
    held: tuple[State, Past],
    stretch: Stretch,
    entering: Inlet,
    leaf: tuple[Bed, Array],
    books: _Books,
) -> None:
    """The fan blows: the bed exchanges with the air, and both sides are written down."""
    turn = slice(None) if stretch.upward else slice(None, None, -1)
    flowing, past = State(*(a[turn] for a in held[0])), Past(*(a[turn] for a in held[1]))
    blow = Blow(
        step_s=stretch.step_s,
        mass_flow_kg_s_m2=entering.mass_flow_kg_s_m2,
        pressure_pa=entering.pressure_pa,
        dry_bulb_c=entering.dry_bulb_c,
        humidity_ratio=entering.humidity_ratio,
    )
    trace = march(flowing, blow, *leaf, past)
    passed = (entering.mass_flow_kg_s_m2 * stretch.step_s)[:, None]
    heat_in = air.enthalpy_j_kg(entering.dry_bulb_c, entering.humidity_ratio)
    heat_out = air.enthalpy_j_kg(trace.out_c, trace.out_w)
    cooled = air.CP_DRY_AIR_J_KG_K * np.abs(entering.dry_bulb_c - trace.out_c)
    books.fan_on_s += stretch.step_s * stretch.steps
    books.heater = books.heater + np.sum(entering.heater_w_m2, axis=0) * stretch.step_s
    books.water = books.water + np.sum(passed * (trace.out_w - entering.humidity_ratio), axis=0)
    books.heat = books.heat + np.sum(passed * (heat_out - heat_in), axis=0)
    books.exchanged = books.exchanged + np.sum(passed * cooled, axis=0)
    books.note(
        time_h=stretch.end_of_step_h,
        total_db=trace.total_db[:, turn],
        leaf_c=trace.leaf_c[:, turn],
        in_c=entering.dry_bulb_c,
        in_w=entering.humidity_ratio,
        out_c=trace.out_c,
        out_w=trace.out_w,
        pressure_pa=entering.pressure_pa,
        upward=np.full(stretch.steps, 1.0 if stretch.upward else 0.0),
    )


def _stand(state: State, stretch: Stretch, sky: Weather, books: _Books) -> None:
    """The fan stands: nothing is exchanged; the air shown is the weather outside."""
    steps, cases = stretch.steps, state.leaf_c.shape[1]
    dry, ratio, pressure = outside(sky, stretch.middle_h)
    outside_c, outside_w = (np.repeat(v[:, None], cases, axis=1) for v in (dry, ratio))
    books.note(
        time_h=stretch.end_of_step_h,
        total_db=np.repeat((state.moisture_db + state.film_db)[None], steps, axis=0),
        leaf_c=np.repeat(state.leaf_c[None], steps, axis=0),
        in_c=outside_c,
        in_w=outside_w,
        out_c=outside_c,
        out_w=outside_w,
        pressure_pa=pressure,
        upward=np.full(steps, 1.0 if stretch.upward else 0.0),
    )
