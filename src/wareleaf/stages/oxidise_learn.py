"""What readings on an oxidation floor say of its rate, and what a rate not sure of makes of them.

The floor's model is run for a row of rates. A theaflavin reading is that of the model times the
yield of this leaf, which no forecast knows; readings of one run share it, so it is summed over
before they speak of the rate. The oxidised share, from a colour, has no yield.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from wareleaf.measure import require
from wareleaf.stages.common import Array, StageReading
from wareleaf.stages.oxidise_course import courses, seen_of
from wareleaf.stages.oxidise_rate import figure
from wareleaf.stages.oxidise_spec import Floor, OxidiseRun

SPEAKS = ("theaflavin_fraction", "oxidised_share")
_FAR_Z, _POINTS = 4.0, 41
_Z: Array = np.linspace(-_FAR_Z, _FAR_Z, _POINTS)
_WEIGHT: Array = np.exp(-0.5 * _Z**2) / np.exp(-0.5 * _Z**2).sum()


@dataclass(frozen=True)
class RateCourses:
    """What the floor's model gives at the readings' times for each of a row of rates.

    Parameters
    ----------
    log_rates : ndarray (rates,)
        Natural logarithm of a multiplier on the run's rate, rising.
    value : ndarray (rates, readings)
        Theaflavin at the usual yield, or oxidised share, as each reading asks.
    warmer : ndarray (readings,)
        Change of each with one standard deviation of the heat of oxidation, at the run's own rate.
    quantities : tuple of str
        Of the readings, from `SPEAKS`.
    """

    log_rates: Array
    value: Array
    warmer: Array
    quantities: tuple[str, ...]

    def on(self, log_rates: Array) -> Array:
        """The same on a finer row of rates, (rates, readings)."""
        found = CubicSpline(self.log_rates, self.value, axis=0)(log_rates)
        return np.asarray(found, dtype=float)

    def misses(self, seen: Array, sd: Array, log_rates: Array) -> Array:
        """Readings less the model, in standard uncertainties: (yields, rates, readings)."""
        has_yield = np.array([q == "theaflavin_fraction" for q in self.quantities])
        factor = np.where(has_yield, np.exp(_Z[:, None] * figure("all.theaflavin_log_sd")), 1.0)
        return np.asarray((seen - factor[:, None, :] * self.on(log_rates)) / sd, dtype=float)

    def log_likelihood(self, seen: Array, sd: Array, log_rates: Array) -> Array:
        """Of each rate, up to a constant: yield summed over, heat of oxidation integrated out.

        Parameters
        ----------
        seen, sd : ndarray (readings,)
            As read, and standard uncertainties above 0.
        log_rates : ndarray
            Where it is wanted.
        """
        miss, along = self.misses(seen, sd, log_rates), self.warmer / sd
        # Normal with covariance I + a a': Sherman and Morrison.
        across = (miss @ along) ** 2 / (1.0 + float(along @ along))
        square = np.sum(miss**2, axis=-1) - across
        least = np.min(square, axis=0)
        said = np.log(np.maximum(_WEIGHT @ np.exp(-0.5 * (square - least)), 1e-300)) - 0.5 * least
        return np.asarray(said, dtype=float)

    def farthest(self, seen: Array, sd: Array, log_rates: Array) -> float:
        """How far the readings lie from the nearest that any rate and yield give, in sd."""
        return float(np.min(np.max(np.abs(self.misses(seen, sd, log_rates)), axis=-1)))


def by_rate(
    floor: Floor, run: OxidiseRun, readings: Sequence[StageReading], log_rates: Array
) -> RateCourses:
    """Run the floor's model for a row of rates.

    Parameters
    ----------
    floor, run : Floor, OxidiseRun
        As they were; ``run.minutes`` is stretched to the last reading.
    readings : sequence of StageReading
        At least one, of `SPEAKS`; only their times and quantities are used.
    log_rates : ndarray
        Natural logarithms of multipliers on the run's rate, rising.

    Raises
    ------
    BadInput
        No readings, or one that says nothing of the rate.
    """
    require(len(readings) > 0, "readings", 0, "readings is empty; give at least one.")
    for reading in readings:
        require(
            reading.quantity in SPEAKS,
            "readings",
            reading.quantity,
            f"A {reading.quantity} says nothing of the rate of oxidation; give "
            f"{' or '.join(SPEAKS)}.",
        )
    at = np.array([60.0 * r.time_h for r in readings])
    quantities = tuple(r.quantity for r in readings)
    long = replace(run, minutes=min(1440.0, max(float(at.max()), 1.0)))

    one, rates = np.ones(2), np.exp(log_rates)
    # the last two are the run's own rate, with the usual heat and with one deviation more
    hotter = np.append(np.ones_like(rates), [1.0, math.exp(figure("all.heat_log_sd"))])
    minutes, rows = courses(floor, long, np.append(rates, one), hotter)
    found = seen_of(run, rows)
    value = np.column_stack(
        [_at(t, minutes, found[q]) for t, q in zip(at.tolist(), quantities, strict=True)]
    )
    return RateCourses(log_rates, value[:-2], value[-1] - value[-2], quantities)


def _at(minute: float, minutes: Array, rows: Array) -> Array:
    """Every course at a minute, by straight lines."""
    end = int(np.clip(np.searchsorted(minutes, minute), 1, minutes.size - 1))
    share = (minute - minutes[end - 1]) / (minutes[end] - minutes[end - 1])
    return np.asarray(rows[end - 1] + share * (rows[end] - rows[end - 1]))


def theaflavin_course(
    course_min: Sequence[float], theaflavin: Sequence[float], rate_log_sd: float, minutes: Array
) -> tuple[Array, Array]:
    """Theaflavin forecast at some minutes: mean over rates, and one standard deviation.

    A floor that works ``e^x`` times as fast is at a time where the other is ``e^x`` times later
    (its warmth taken as the same); the yield scatters on top. The yield is that of the model.

    Parameters
    ----------
    course_min, theaflavin : sequence of float
        The course of the model; past its end it is taken as level.
    rate_log_sd : float
        Of the leaf's rate.
    minutes : ndarray
        Where it is wanted.
    """
    reached = np.multiply.outer(np.exp(rate_log_sd * _Z), minutes)
    values = np.interp(reached, np.asarray(course_min), np.asarray(theaflavin))
    mean = _WEIGHT @ values
    by_rates = _WEIGHT @ (values - mean) ** 2
    yields = math.expm1(figure("all.theaflavin_log_sd") ** 2)
    return np.asarray(mean), np.asarray(np.sqrt(by_rates + yields * mean**2))
