"""Trials at several temperatures: what heat takes from leaf, and how any rate rises with it.

    rate = rate_ref exp(-(E/R)(1/T - 1/T_ref)),

with T_ref the harmonic mean of the trial's temperatures, where rate and activation energy part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from wareleaf.leaf.fit import fit_curve
from wareleaf.leaf.isotherms import KELVIN
from wareleaf.measure import BadInput, require
from wareleaf.stages._trial_points import as_long, column, goes, no_activation
from wareleaf.stages.common import Array, finite
from wareleaf.stages.quality_constants import FIGURES, middle_k, per_activation
from wareleaf.stages.trial import Constant, Standing, TrialFit, in_order, plain

ACTIVATION = "activation_j_mol"
_STARTS = (20e3, 50e3, 100e3, 200e3)
_MOST_J_MOL = 500e3
_NONE_J_MOL = 100.0  # a fit that wants less than nothing ends at its bound


def fit_loss(
    what: str, leaf_c: Sequence[float], hours: Sequence[float], kept: Sequence[float]
) -> list[TrialFit]:
    """First-order loss from leaf that was kept at steady temperatures, best form first.

    Parameters
    ----------
    what : str
        What is lost: ``vitamin_c``, ``theaflavin``, ``chlorophyll``, an enzyme, or an own name.
    leaf_c, hours, kept : sequence of float
        Temperature of each sample, hours at it, and the share that was left.
    """
    require(bool(what.strip()), "what", what, "what is empty; name what is lost.")
    as_long("leaf_c", {"hours": hours, "kept": kept}, len(leaf_c))
    celsius = column("leaf_c", leaf_c, -20.0, 200.0, "degC")
    time = column("hours", hours, 0.0, 1e5, "h", ends=False)
    left = column("kept", kept, 0.0, 1.0)
    require(len(leaf_c) > 0, "leaf_c", 0, "leaf_c is empty; give the temperature of each sample.")
    if len(set(leaf_c)) == 1:
        goes("kept", time, left, -1, "heat only takes")
    over = per_activation(celsius, middle_k(celsius))
    inside = np.clip(left, 1e-3, 1.0 - 1e-3)
    rate = math.exp(float(np.mean(np.log(-np.log(inside) / time))))
    said = no_activation(leaf_c, 2, name := what.replace("_", " "))
    forms: dict[str, tuple[str, ...]] = {"first_order": ("rate_per_h",)}
    if not said:
        forms["first_order_by_heat"] = ("rate_per_h", ACTIVATION)
    found = []
    for model, names in forms.items():

        def curve(p: Array) -> Array:
            energy = float(p[1]) if p.size == 2 else 0.0
            return np.asarray(np.exp(-p[0] * time * np.exp(np.minimum(energy * over, 300.0))))

        fit = fit_curve(
            model,
            curve,
            left,
            names,
            [[rate, energy][: len(names)] for energy in _STARTS],
            lower=dict.fromkeys(names, 0.0),
            upper={ACTIVATION: _MOST_J_MOL},
            field="kept",
        )
        constants = tuple(_of_the_loss(plain(fit, n, _UNITS[n]), what) for n in names)
        minded = [said] if said else []
        if fit.parameters.get(ACTIVATION, _MOST_J_MOL) < _NONE_J_MOL:
            minded.append(
                f"The {name} does not go faster when hotter; an activation energy does not "
                "describe it. Narrow the temperatures or the moistures."
            )
        found.append(TrialFit(fit, constants, _use(what, names, celsius), tuple(minded)))
    return in_order(found)


_UNITS = {"rate_per_h": "1/h", ACTIVATION: "J/mol"}


def _of_the_loss(constant: Constant, what: str) -> Constant:
    """With what is published of its activation energy, where anything is."""
    low, high = (FIGURES.get(f"{what}.activation_{end}_j_mol") for end in ("low", "high"))
    if constant.name != ACTIVATION or low is None or high is None:
        return constant
    now = Standing(0.5 * (low.value + high.value), str(low.evidence))
    return Constant(constant.name, constant.unit, constant.value, constant.standard_error, now)


def _use(what: str, names: Sequence[str], celsius: Array) -> str:
    at = middle_k(celsius) - KELVIN
    if ACTIVATION not in names:
        return f"It holds at {at:.1f} degC only; a table [[loss]] also wants an activation energy."
    return (
        f"Put them into a table [[loss]] with what = {what!r}, reference_c = {at:.2f}, low_c = "
        f"{celsius.min():g} and high_c = {celsius.max():g}; their errors are activation_sd_j_mol "
        "and, over the rate, rate_relative_sd."
    )


def fit_rates(
    temperature_c: Sequence[float], rate: Sequence[float], reference_c: float | None = None
) -> list[TrialFit]:
    """Activation energy of any rate constant that was found at several temperatures.

    The logarithm of the rate is fitted: rates of separate trials err by shares of themselves.

    Parameters
    ----------
    temperature_c, rate : sequence of float
        degC, and the rate in any unit, above 0: a drying constant, a diffusivity, a wither rate.
    reference_c : float, optional
        Where the rate is told; the harmonic mean of the temperatures when None.

    Raises
    ------
    BadInput
        One temperature, or too few points.
    """
    as_long("temperature_c", {"rate": rate}, len(temperature_c))
    celsius = column("temperature_c", temperature_c, -50.0, 300.0, "degC")
    speed = column("rate", rate, 0.0, 1e12, ends=False)
    trouble = no_activation(temperature_c, 2, "this rate")
    if trouble:
        trouble = trouble.replace(", and the one that stands was used", "")
        raise BadInput("temperature_c", list(temperature_c), trouble)
    if reference_c is not None:
        finite("reference_c", reference_c, -50.0, 300.0, "degC")
    middle = middle_k(celsius) if reference_c is None else reference_c + KELVIN
    over, log_rate = per_activation(celsius, middle), np.log(speed)

    def curve(p: Array) -> Array:
        return np.asarray(p[0] + p[1] * over)

    slope, level = np.polyfit(over, log_rate, 1)
    names = ("log_rate", ACTIVATION)
    fit = fit_curve("arrhenius", curve, log_rate, names, [[level, slope]], field="rate")
    value, error = math.exp(fit.parameters["log_rate"]), fit.standard_errors["log_rate"]
    told = Constant("rate", "as given", value, None if error is None else value * error)
    use = f"The rate is that at {middle - KELVIN:.2f} degC; give both to the stage it is of."
    said: tuple[str, ...] = ()
    if fit.parameters[ACTIVATION] <= 0.0:
        said = ("The rate does not rise with temperature: no activation energy describes it.",)
    return [TrialFit(fit, (told, plain(fit, ACTIVATION, "J/mol")), use, said)]
