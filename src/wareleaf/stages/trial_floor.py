"""Trials on an oxidation floor: theaflavin or a colour over the minutes, at any temperatures.

The floor's own model is run for each trial of its constants, so that the leaf's own warmth and the
air are in the curve and not in the constants. Activation energies need several temperatures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from wareleaf.leaf.fit import Curve, Fit, fit_curve
from wareleaf.stages._trial_points import as_long, column, no_activation, rising
from wareleaf.stages.common import Array
from wareleaf.stages.oxidise_rate import FIGURES
from wareleaf.stages.oxidise_run import OxidiseResult, simulate
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun
from wareleaf.stages.trial import Constant, Standing, TrialFit, in_order, plain, standing
from wareleaf.stages.trial_stage import ACTIVATIONS

_STEP = 1e-3  # relative, of differences through a whole stage
_RATE, _YIELD, _LOSS = "rate_factor", "theaflavin_factor", "loss_ratio"
_BY_HEAT = ("formation_activation_j_mol", "loss_activation_j_mol")
_FORMS: Mapping[str, tuple[str, ...]] = {
    "consecutive": (_RATE, _YIELD),
    "consecutive_own_loss": (_RATE, _YIELD, _LOSS),
    "consecutive_by_heat": (_RATE, _YIELD, _BY_HEAT[0]),
    "consecutive_own_loss_by_heat": (_RATE, _YIELD, _LOSS, *_BY_HEAT),
}
_COLOUR_FORMS: Mapping[str, tuple[str, ...]] = {
    "linear_in_oxidised_share": ("colour_start", "colour_end"),
    "linear_in_oxidised_share_own_rate": ("colour_start", "colour_end", _RATE),
}
_USE = "Put these under the oxidation floor's settings."


class _Courses:
    """What the floor gives at the trial's points for constants of a run; each course run once."""

    def __init__(
        self,
        floor: Floor,
        run: OxidiseRun,
        time: Array,
        air_c: Sequence[float],
        take: Callable[[OxidiseResult], Sequence[float]],
    ) -> None:
        self.floor, self.time, self.air_c, self.take = floor, time, np.array(air_c), take
        self.run = replace(run, minutes=max(float(np.max(time, initial=0.0)), 1.0))
        self.known: dict[tuple[tuple[str, float], ...], Array] = {}

    def at(self, constants: Mapping[str, float]) -> Array:
        """At every point."""
        key = tuple(sorted(constants.items()))
        if key not in self.known:
            given: dict[str, Any] = dict(constants)
            run = replace(self.run, **given)
            found = np.empty(self.time.size)
            for celsius in np.unique(self.air_c).tolist():
                course = simulate(replace(self.floor, dry_bulb_c=celsius), run)
                there = self.air_c == celsius
                found[there] = np.interp(self.time[there], course.course_min, self.take(course))
            self.known[key] = found
        return self.known[key]

    def slope(self, constants: Mapping[str, float], name: str) -> Array:
        """Derivative by one of the constants, a central difference."""
        size = constants[name]
        up, down = (self.at({**constants, name: size * (1.0 + s)}) for s in (_STEP, -_STEP))
        return np.asarray((up - down) / (2.0 * _STEP * size))


def _checked(
    time: Sequence[float], air_c: Sequence[float] | None, floor: Floor
) -> tuple[Array, list[float]]:
    """Minutes and air of each point; minutes rise within each temperature."""
    air = [floor.dry_bulb_c] * len(time) if air_c is None else list(air_c)
    as_long("minutes", {"air_c": air}, len(time))
    minutes = column("minutes", time, 0.0, 1440.0, "min")
    column("air_c", air, 5.0, 45.0, "degC")
    for celsius in dict.fromkeys(air):
        rising("minutes", [t for t, c in zip(time, air, strict=True) if c == celsius])
    return minutes, air


def fit_oxidise(
    floor: Floor,
    run: OxidiseRun,
    minutes: Sequence[float],
    theaflavin_fraction: Sequence[float],
    air_c: Sequence[float] | None = None,
) -> list[TrialFit]:
    """Rate, yield and fall of theaflavin from samples over the floor's minutes.

    Forms are fitted and ranked: the fall after the peak as it stands or with its own loss ratio,
    which needs points past the peak; and, from trials at several temperatures, each with its own
    activation energies.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        As they were; temperature and oxygen are taken through the model.
    minutes, theaflavin_fraction : sequence of float
        Minutes since the leaf came to the floor, rising at each temperature, and theaflavin of
        infusion solids.
    air_c : sequence of float, optional
        Air of each point, degC: one trial for each temperature; the floor's for all when None.
    """
    as_long("minutes", {"theaflavin_fraction": theaflavin_fraction}, len(minutes))
    time, air = _checked(minutes, air_c, floor)
    read = column("theaflavin_fraction", theaflavin_fraction, 0.0, 0.1)
    whole = _Courses(floor, run, time, air, lambda r: r.course_theaflavin)
    first = _nearest(whole, read)
    start = {**first, _LOSS: run.loss_ratio, **{name: getattr(run, name) for name in _BY_HEAT}}
    said = no_activation(air, len(_FORMS["consecutive_by_heat"]), "oxidation")
    found = []
    for model, names in _FORMS.items():
        if model != "consecutive" and len(names) >= len(minutes):
            continue
        if said and _BY_HEAT[0] in names:
            continue
        fit = fit_curve(
            model,
            _theaflavin(whole, names),
            read,
            names,
            [[start[name] for name in names]],
            lower={n: ACTIVATIONS[0] if n in _BY_HEAT else 0.02 for n in names},
            upper={n: ACTIVATIONS[1] if n in _BY_HEAT else 50.0 for n in names},
            jacobian=_slopes(whole, names),
            field="theaflavin_fraction",
        )
        told = tuple(_told(fit, name, run) for name in names)
        found.append(TrialFit(fit, told, _USE, (said,) if said else ()))
    return in_order(found)


def _parts(names: Sequence[str], p: Array) -> tuple[float, dict[str, float]]:
    """The yield, and the constants of the run that shape its course."""
    given = dict(zip(names, p.tolist(), strict=True))
    return given.pop(_YIELD), given


def _theaflavin(whole: _Courses, names: Sequence[str]) -> Curve:
    def curve(p: Array) -> Array:
        scale, given = _parts(names, p)
        return np.asarray(scale * whole.at(given), dtype=float)

    return curve


def _slopes(whole: _Courses, names: Sequence[str]) -> Curve:
    """Derivatives: the yield is linear, the rest by differences."""

    def slopes(p: Array) -> Array:
        scale, given = _parts(names, p)
        rows = [
            whole.at(given) if name == _YIELD else scale * whole.slope(given, name)
            for name in names
        ]
        return np.stack(rows, axis=-1)

    return slopes


def _nearest(whole: _Courses, read: Array) -> dict[str, float]:
    """Best of a few rates, each with its own best yield."""
    best = (math.inf, 1.0, 1.0)
    for rate in (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0):
        shape = whole.at({_RATE: rate})
        scale = max(float(shape @ read) / max(float(shape @ shape), 1e-30), 0.05)
        best = min(best, (float(np.sum((scale * shape - read) ** 2)), rate, scale))
    return {_RATE: best[1], _YIELD: best[2]}


def _told(fit: Fit, name: str, run: OxidiseRun) -> Constant:
    if name in _BY_HEAT:
        return plain(fit, name, "J/mol", standing(FIGURES[f"all.{name}"]))
    rows = {
        _RATE: (1.0, f"{run.cut}.peak_min"),
        _YIELD: (1.0, f"{run.cut}.theaflavin_peak_fraction"),
        _LOSS: (FIGURES["all.loss_ratio"].value, "all.loss_ratio"),
    }
    now, key = rows[name]
    return plain(fit, name, "1", Standing(now, str(FIGURES[key].evidence)))


def fit_colour(
    floor: Floor, run: OxidiseRun, minutes: Sequence[float], colour_index: Sequence[float]
) -> list[TrialFit]:
    """What a colour meter shows at the start and the end of oxidation, in the meter's own unit.

    The colour is taken as linear in the share of catechin oxidised. That is the trial's claim and
    no published law: look at the residuals. The form with its own rate needs points that bend.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        As they were, with the rate that is known of this leaf.
    minutes, colour_index : sequence of float
        Rising minutes since the leaf came to the floor, and what the meter showed.
    """
    as_long("minutes", {"colour_index": colour_index}, len(minutes))
    time, air = _checked(minutes, None, floor)
    read = column("colour_index", colour_index, -1e4, 1e4)
    whole = _Courses(floor, run, time, air, lambda r: r.course_oxidised)
    found = []
    for model, names in _COLOUR_FORMS.items():
        if len(names) == 3 and len(minutes) <= 3:
            continue
        fit = fit_curve(
            model,
            _colour(whole, names, run.rate_factor),
            read,
            names,
            [[*_line(whole.at({_RATE: rate}), read), rate][: len(names)] for rate in _rates(run)],
            lower={_RATE: 0.02},
            upper={_RATE: 50.0},
            jacobian=_colour_slopes(whole, names, run.rate_factor),
            field="colour_index",
        )
        units = {"colour_start": "of the meter", "colour_end": "of the meter", _RATE: "1"}
        told = tuple(_told(fit, n, run) if n == _RATE else plain(fit, n, units[n]) for n in names)
        found.append(TrialFit(fit, told, _USE))
    return in_order(found)


def _rates(run: OxidiseRun) -> list[float]:
    return [run.rate_factor * x for x in (1.0, 0.5, 2.0)]


def _line(share: Array, read: Array) -> tuple[float, float]:
    """Straight line through colours over shares: at the start and at the end."""
    steep = float(np.ptp(share)) > 0.0
    slope, first = np.polyfit(share, read, 1) if steep else (0.0, float(np.mean(read)))
    return float(first), float(first + slope)


def _colour(whole: _Courses, names: Sequence[str], rate: float) -> Curve:
    def curve(p: Array) -> Array:
        given = dict(zip(names, p.tolist(), strict=True))
        share = whole.at({_RATE: given.get(_RATE, rate)})
        start, end = given["colour_start"], given["colour_end"]
        return np.asarray(start + (end - start) * share, dtype=float)

    return curve


def _colour_slopes(whole: _Courses, names: Sequence[str], rate: float) -> Curve:
    """Derivatives: start and end are linear, the rate by a difference."""

    def slopes(p: Array) -> Array:
        given = dict(zip(names, p.tolist(), strict=True))
        at = {_RATE: given.get(_RATE, rate)}
        share, rise = whole.at(at), given["colour_end"] - given["colour_start"]
        rows = [1.0 - share, share]
        if _RATE in given:
            rows.append(rise * whole.slope(at, _RATE))
        return np.stack(rows, axis=-1)

    return slopes
