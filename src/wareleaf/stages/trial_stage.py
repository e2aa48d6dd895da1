"""Trials fitted through a whole stage: wither rate, leaching in a bath, oxidation on a floor.

The stage's own model is run for each trial of its constants, so that heating, the bath's loading,
the air through the bed and the leaf's own warmth are in the curve and not in the constants.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline, interp1d

from wareleaf import leaf
from wareleaf.leaf.fit import fit_curve
from wareleaf.stages._trial_points import as_long, at_most, column, goes, rising
from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_spec import Trough, WitherRun
from wareleaf.stages.blanch_run import simulate as blanch
from wareleaf.stages.blanch_spec import FIGURES as BLANCH
from wareleaf.stages.blanch_spec import SPECIES, Bath, BlanchRun
from wareleaf.stages.common import Array
from wareleaf.stages.oxidise_rate import FIGURES as OXIDISE
from wareleaf.stages.oxidise_run import Floor, OxidiseRun
from wareleaf.stages.oxidise_run import simulate as oxidise
from wareleaf.stages.trial import Standing, TrialFit, in_order, plain, scaled

_RATES = (0.02, 50.0)
_STEP = 1e-3  # relative, of differences through a whole stage


def fit_wither(
    trough: Trough, run: WitherRun, time_h: Sequence[float], reading_wb: Sequence[float]
) -> list[TrialFit]:
    """Rate of a leaf on a trough from moistures of the whole bed.

    Parameters
    ----------
    trough, run : Trough, WitherRun
        As blown; the run must cover the last point.
    time_h, reading_wb : sequence of float
        Rising hours and mean moisture, fraction wet basis.
    """
    as_long("time_h", {"reading_wb": reading_wb}, len(time_h))
    hours = column("time_h", time_h, 0.0, run.duration_h, "h")
    rising("time_h", time_h)
    read = column("reading_wb", reading_wb, 0.0, 1.0, ends=False)
    goes("reading_wb", hours, read, -1, "leaf on a trough loses water")

    # All rates side by side in one march, and a spline between them in the logarithm.
    run = replace(run, rate_factor=1.0)
    factors = np.geomspace(*_RATES, 61)
    same = np.ones(factors.size)
    history = carry(trough, run, Cases(factors, run.moisture_wb * same, 0.0 * same))
    time = np.append(0.0, history.time_h)
    course = np.concatenate([np.full((1, factors.size), run.moisture_wb), history.mean_wb])
    between = CubicSpline(np.log(factors), interp1d(time, course, axis=0)(hours).T)

    def curve(p: Array) -> Array:
        return np.asarray(between(math.log(p[0])), dtype=float)

    fit = fit_curve(
        "trough",
        curve,
        read,
        ("rate_factor",),
        [[0.3], [1.0], [3.0]],
        lower={"rate_factor": _RATES[0]},
        upper={"rate_factor": _RATES[1]},
        field="reading_wb",
    )
    figure = leaf.profile(run.leaf_id).figure("wither.rate_per_h")
    constants = (
        plain(fit, "rate_factor", "1", Standing(1.0, str(figure.evidence))),
        scaled(fit, "rate_factor", "wither.rate_per_h", "1/h", figure),
    )
    use = "Put rate_factor under the trough's settings."
    return [TrialFit(fit, constants, use)]


def fit_blanch(
    bath: Bath,
    run: BlanchRun,
    immersion_s: Sequence[float],
    iodine_mg_kg_dw: Sequence[float],
    temperature_c: Sequence[float] | None = None,
) -> list[TrialFit]:
    """Leaching rate and bound share of iodine from dips of different length.

    Parameters
    ----------
    bath, run : Bath, BlanchRun
        As used; ``run.iodine_mg_kg_dw`` is the content before. Each point is one load in its own
        bath, so that a beaker trial and a works trial are both computed as they were done.
    immersion_s, iodine_mg_kg_dw : sequence of float
        Seconds in the water, and iodine left, mg per kg dry matter.
    temperature_c : sequence of float, optional
        Of the bath at each point; the bath's set point for all when None.
    """
    hot = [bath.temperature_c] * len(immersion_s) if temperature_c is None else list(temperature_c)
    as_long(
        "immersion_s", {"iodine_mg_kg_dw": iodine_mg_kg_dw, "temperature_c": hot}, len(immersion_s)
    )
    seconds = column("immersion_s", immersion_s, 0.0, 7200.0, "s", ends=False)
    column("temperature_c", hot, 20.0, 100.0, "degC")
    left = column("iodine_mg_kg_dw", iodine_mg_kg_dw, 0.0, 50_000.0, "mg/kg")
    at_most("iodine_mg_kg_dw", left, run.iodine_mg_kg_dw, "the leaf went in with")

    def curve(p: Array) -> Array:
        moved = replace(run, leach_factor=float(p[0]), residual_factor=float(p[1]))
        return np.array(
            [
                blanch(
                    replace(bath, temperature_c=t), replace(moved, immersion_s=s)
                ).iodine_mg_kg_dw
                for s, t in zip(seconds.tolist(), hot, strict=True)
            ]
        )

    most = 1.0 / BLANCH["all.iodine_bound_fraction"].value
    fit = fit_curve(
        "first_order_with_bound_part",
        curve,
        left,
        ("leach_factor", "residual_factor"),
        [[0.5, 1.0], [2.0, 0.5]],
        lower={"leach_factor": 1e-3, "residual_factor": 1e-4},
        upper={"leach_factor": 100.0, "residual_factor": most},
        field="iodine_mg_kg_dw",
    )
    rate = BLANCH[f"{SPECIES[run.leaf_id]}.leach_rate_80c_per_s"]
    bound = BLANCH["all.iodine_bound_fraction"]
    constants = (
        plain(fit, "leach_factor", "1", Standing(1.0, str(rate.evidence))),
        plain(fit, "residual_factor", "1", Standing(1.0, str(bound.evidence))),
        scaled(fit, "leach_factor", "leach_rate_80c_per_s", "1/s", rate),
        scaled(fit, "residual_factor", "iodine_bound_fraction", "1", bound),
    )
    return [
        TrialFit(fit, constants, "Put leach_factor and residual_factor under the bath's settings.")
    ]


class _Theaflavin:
    """Theaflavin at the trial's minutes for constants (rate, yield, loss); each course run once."""

    def __init__(self, floor: Floor, run: OxidiseRun, time: Array) -> None:
        self.floor, self.time, self.ratio = floor, time, run.loss_ratio
        self.run = replace(run, minutes=max(float(np.max(time, initial=0.0)), 1.0))
        self.known: dict[tuple[float, float], Array] = {}

    def at(self, rate: float, ratio: float) -> Array:
        """With the yield that stands."""
        if (rate, ratio) not in self.known:
            found = oxidise(self.floor, replace(self.run, rate_factor=rate, loss_ratio=ratio))
            self.known[rate, ratio] = np.interp(
                self.time, found.course_min, found.course_theaflavin
            )
        return self.known[rate, ratio]

    def curve(self, p: Array) -> Array:
        """For two or three constants."""
        return np.asarray(p[1] * self.at(float(p[0]), self._loss(p)), dtype=float)

    def slopes(self, p: Array) -> Array:
        """Derivatives: the yield is linear, rate and loss by a central difference."""
        rate, ratio = float(p[0]), self._loss(p)
        up, down = 1.0 + _STEP, 1.0 - _STEP
        found = [
            p[1] * (self.at(rate * up, ratio) - self.at(rate * down, ratio)) / (2.0 * _STEP * rate),
            self.at(rate, ratio),
        ]
        if p.size == 3:
            change = self.at(rate, ratio * up) - self.at(rate, ratio * down)
            found.append(p[1] * change / (2.0 * _STEP * ratio))
        return np.stack(found, axis=-1)

    def nearest(self, read: Array) -> list[float]:
        """Best of a few rates, each with its own best yield."""
        best = (math.inf, 1.0, 1.0)
        for rate in (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0):
            shape = self.at(rate, self.ratio)
            scale = max(float(shape @ read) / max(float(shape @ shape), 1e-30), 0.05)
            best = min(best, (float(np.sum((scale * shape - read) ** 2)), rate, scale))
        return [best[1], best[2], self.ratio]

    def _loss(self, p: Array) -> float:
        return float(p[2]) if p.size == 3 else self.ratio


def fit_oxidise(
    floor: Floor, run: OxidiseRun, minutes: Sequence[float], theaflavin_fraction: Sequence[float]
) -> list[TrialFit]:
    """Rate, yield and fall of theaflavin from samples over the floor's minutes.

    Two forms are fitted and ranked: the fall after the peak as it stands (two constants), and with
    its own loss ratio (three); the second needs points past the peak.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        As they were; temperature and oxygen are taken through the model.
    minutes, theaflavin_fraction : sequence of float
        Rising minutes since the leaf came to the floor, and theaflavin of infusion solids.
    """
    as_long("minutes", {"theaflavin_fraction": theaflavin_fraction}, len(minutes))
    time = column("minutes", minutes, 0.0, 1440.0, "min")
    rising("minutes", minutes)
    read = column("theaflavin_fraction", theaflavin_fraction, 0.0, 0.1)
    whole = _Theaflavin(floor, run, time)
    names = ("rate_factor", "theaflavin_factor", "loss_ratio")
    start = whole.nearest(read)
    forms = {"consecutive": 2, "consecutive_own_loss": 3}
    able = {name: n for name, n in forms.items() if n < len(minutes)} or {"consecutive": 2}
    found = []
    for model, count in able.items():
        fit = fit_curve(
            model,
            whole.curve,
            read,
            names[:count],
            [start[:count]],
            lower=dict.fromkeys(names[:count], 0.02),
            upper=dict.fromkeys(names[:count], 50.0),
            jacobian=whole.slopes,
            field="theaflavin_fraction",
        )
        told = [
            plain(fit, name, "1", Standing(now, str(OXIDISE[key].evidence)))
            for name, now, key in (
                ("rate_factor", 1.0, f"{run.cut}.peak_min"),
                ("theaflavin_factor", 1.0, f"{run.cut}.theaflavin_peak_fraction"),
                ("loss_ratio", OXIDISE["all.loss_ratio"].value, "all.loss_ratio"),
            )[:count]
        ]
        found.append(TrialFit(fit, tuple(told), "Put these under the oxidation floor's settings."))
    return in_order(found)
