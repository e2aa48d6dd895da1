"""Where constants of a loss come from: the few that are published, and a works' own trials."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.leaf.isotherms import GAS_CONSTANT_J_MOL_K, KELVIN
from wareleaf.measure import BadInput, require
from wareleaf.stages.common import Array, cite, finite, stage_figures
from wareleaf.stages.quality_loss import Kept, Loss, name_of

FIGURES = stage_figures("quality")


def no_constant(what: str, crop: str) -> Kept:
    """What is said where no constants are published and the works gave none."""
    said = f"No published constant for the loss of {name_of(what)}; the works can give its own."
    low, high = (FIGURES.get(f"{crop}.{what}.kept_{end}") for end in ("low", "high"))
    if low is not None and high is not None:
        said += (
            f" Published end point: {100 * low.value:.0f} to {100 * high.value:.0f} % kept "
            f"({low.valid_range}) [{low.evidence}]."
        )
    return Kept(what, name_of(what), None, None, None, None, None, said)


def with_published_activation(
    what: str, rate_per_h: float, reference_c: float, rate_relative_sd: float = 0.0
) -> Loss:
    """The works' own rate with a published activation energy.

    Raises
    ------
    BadInput
        Where none is published.
    """
    low, high = (FIGURES.get(f"{what}.activation_{end}_j_mol") for end in ("low", "high"))
    if low is None or high is None:
        known = sorted({f.subject for f in FIGURES.values() if "activation_low" in f.quantity})
        raise BadInput(
            "activation_j_mol",
            None,
            f"activation_j_mol of {what} is missing and none is published; give your own "
            f"(published: {', '.join(known)}).",
        )
    return Loss(
        what=what,
        rate_per_h=rate_per_h,
        reference_c=reference_c,
        activation_j_mol=0.5 * (low.value + high.value),
        rate_relative_sd=rate_relative_sd,
        activation_sd_j_mol=(high.value - low.value) / math.sqrt(12.0),
        low_c=FIGURES[f"{what}.activation_range_low_c"].value,
        high_c=FIGURES[f"{what}.activation_range_high_c"].value,
        source=f"the works' own rate and the activation energy of {cite([low])[0]}",
    )


@dataclass(frozen=True)
class Trial:
    """Leaf kept at one temperature: hours, and the share of the thing that was left."""

    leaf_c: float
    hours: float
    kept: float

    def __post_init__(self) -> None:
        """Refuse what tells nothing."""
        finite("leaf_c", self.leaf_c, -20.0, 200.0, "degC")
        finite("hours", self.hours, 0.0, 1e5, "h", above=True)
        require(
            0.0 < self.kept < 1.0,
            "kept",
            self.kept,
            f"kept is {self.kept:g}; a trial needs a share above 0 and below 1.",
        )


def _at_one_temperature(what: str, trials: Sequence[Trial]) -> Loss:
    logs = np.log([-math.log(t.kept) / t.hours for t in trials])
    sd = float(np.std(logs, ddof=1)) / math.sqrt(logs.size) if logs.size > 1 else 0.0
    middle_c = float(np.mean([t.leaf_c for t in trials]))
    try:
        return with_published_activation(
            what, math.exp(float(np.mean(logs))), middle_c, math.sqrt(math.expm1(sd**2))
        )
    except BadInput as error:
        raise BadInput(
            "trials",
            middle_c,
            f"trials of {what} are all at {middle_c:g} degC and no activation energy is published "
            "for it; give trials at two or more temperatures.",
        ) from error


def middle_k(celsius: Array) -> float:
    """Harmonic mean of temperatures, K: where a rate and its activation energy part."""
    return 1.0 / float(np.mean(1.0 / (celsius + KELVIN)))


def per_activation(celsius: Array, reference_k: float) -> Array:
    """What an activation energy multiplies in the logarithm of a rate, mol/J."""
    return np.asarray(-(1.0 / (celsius + KELVIN) - 1.0 / reference_k) / GAS_CONSTANT_J_MOL_K)


def fit(what: str, trials: Sequence[Trial], source: str = "the works' own trial") -> Loss:
    """Constants from trials, best at two or more temperatures.

    ln(-ln(kept)/hours) is a straight line over -(1/T - 1/T_ref)/R with T_ref the (harmonic) mean of
    the trials, where rate and slope part; ordinary least squares. Two trials give the constants and
    no standard deviation. Trials within 1 K of each other give the rate (its mean logarithm), with
    the published activation energy.

    Raises
    ------
    BadInput
        No trial, one temperature where no activation energy is published, or a loss that does not
        grow with heat.
    """
    require(len(trials) > 0, "trials", 0, "trials is empty; give one or more.")
    celsius = np.array([t.leaf_c for t in trials])
    if float(np.ptp(celsius + KELVIN)) < 1.0:
        return _at_one_temperature(what, trials)
    reference = middle_k(celsius)
    x = per_activation(celsius, reference)
    y = np.log([-math.log(t.kept) / t.hours for t in trials])
    slope = float(np.sum(x * y) / np.sum(x * x))
    middle = float(np.mean(y))
    require(
        slope >= 0.0,
        "trials",
        slope,
        f"trials lose less when hotter (activation energy {slope / 1000:.0f} kJ/mol); first order "
        "with an Arrhenius rate does not describe them. Narrow the temperatures or the moistures.",
    )
    spare = len(trials) - 2
    rest = y - middle - slope * x
    sd = math.sqrt(float(np.sum(rest**2)) / spare) if spare else 0.0
    found = Loss(
        what=what,
        rate_per_h=math.exp(middle),
        reference_c=reference - KELVIN,
        activation_j_mol=slope,
        low_c=float(celsius.min()),
        high_c=float(celsius.max()),
        source=source,
    )
    spread = sd / math.sqrt(len(trials))
    return replace(
        found,
        rate_relative_sd=math.sqrt(math.expm1(spread**2)),
        activation_sd_j_mol=sd / math.sqrt(float(np.sum(x * x))),
    )
