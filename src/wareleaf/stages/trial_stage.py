"""Trials fitted through a whole stage: wither rate, and leaching in a bath.

The stage's own model is run for each trial of its constants, so that heating, the bath's loading,
and the air through the bed are in the curve and not in the constants. The oxidation floor has a
room of its own, `stages.trial_floor`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline, interp1d

from wareleaf import leaf
from wareleaf.leaf.fit import Curve, Fit, fit_curve
from wareleaf.stages._trial_points import as_long, at_most, column, goes, no_activation, rising
from wareleaf.stages._wither_march import Cases, carry
from wareleaf.stages._wither_spec import Trough, WitherRun
from wareleaf.stages.blanch_run import simulate as blanch
from wareleaf.stages.blanch_spec import FIGURES as BLANCH
from wareleaf.stages.blanch_spec import SPECIES, Bath, BlanchRun
from wareleaf.stages.common import Array
from wareleaf.stages.trial import Constant, Standing, TrialFit, in_order, plain, scaled, standing

_RATES = (0.02, 50.0)
ACTIVATIONS = (1_000.0, 300_000.0)
"""Bounds of a fitted activation energy, J/mol."""
ACTIVATION = "leach_activation_j_mol"


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
    """Leaching rate and bound share of iodine from dips of different length, and heat.

    Dips at several temperatures tell the activation energy of leaching too; both forms are ranked.

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

    names = ("leach_factor", "residual_factor", ACTIVATION)
    said = no_activation(hot, 3, "leaching")
    starts = [[0.5, 1.0], [2.0, 0.5]]
    found = []
    for model, count in _BATH_FORMS.items():
        if count == 3 and said:
            continue
        fit = fit_curve(
            model,
            _left(bath, run, names[:count], seconds, hot),
            left,
            names[:count],
            starts,
            lower={"leach_factor": 1e-3, "residual_factor": 1e-4, ACTIVATION: ACTIVATIONS[0]},
            upper={
                "leach_factor": 100.0,
                "residual_factor": 1.0 / BLANCH["all.iodine_bound_fraction"].value,
                ACTIVATION: ACTIVATIONS[1],
            },
            field="iodine_mg_kg_dw",
        )
        starts = [[*fit.parameters.values(), run.leach_activation_j_mol]]  # of the next form
        constants = _of_the_bath(fit, run.leaf_id)
        use = f"Put {' and '.join(names[:count])} under the bath's settings."
        found.append(TrialFit(fit, constants, use, (said,) if said else ()))
    return in_order(found)


_BATH_FORMS = {"first_order_with_bound_part": 2, "first_order_with_bound_part_by_heat": 3}


def _left(
    bath: Bath, run: BlanchRun, names: Sequence[str], seconds: Array, hot: Sequence[float]
) -> Curve:
    """Iodine left in each dip, for constants of these names."""

    def curve(p: Array) -> Array:
        given: dict[str, Any] = dict(zip(names, p.tolist(), strict=True))
        moved = replace(run, **given)
        return np.array(
            [
                blanch(
                    replace(bath, temperature_c=t), replace(moved, immersion_s=s)
                ).iodine_mg_kg_dw
                for s, t in zip(seconds.tolist(), hot, strict=True)
            ]
        )

    return curve


def _of_the_bath(fit: Fit, leaf_id: str) -> tuple[Constant, ...]:
    rate = BLANCH[f"{SPECIES[leaf_id]}.leach_rate_80c_per_s"]
    bound = BLANCH["all.iodine_bound_fraction"]
    found = [
        plain(fit, "leach_factor", "1", Standing(1.0, str(rate.evidence))),
        plain(fit, "residual_factor", "1", Standing(1.0, str(bound.evidence))),
        scaled(fit, "leach_factor", "leach_rate_80c_per_s", "1/s", rate),
        scaled(fit, "residual_factor", "iodine_bound_fraction", "1", bound),
    ]
    if ACTIVATION in fit.parameters:
        found.append(plain(fit, ACTIVATION, "J/mol", standing(BLANCH["all." + ACTIVATION])))
    return tuple(found)
