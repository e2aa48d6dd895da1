"""Minutes in the roll for a share of broken cells, and when a charge will be there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wareleaf.measure import BadInput
from wareleaf.stages.common import (
    Aim,
    Array,
    Projection,
    StageReading,
    check_readings,
    finite,
    weighed_kg,
)
from wareleaf.stages.learn import carry, learn
from wareleaf.stages.roll_run import (
    FIGURES,
    Roller,
    RollResult,
    RollRun,
    disruption_rate_per_min,
    simulate,
)

READS = ("leaf_temperature_c", "disruption", "moisture_wb", "mass_kg")
_SHOWN = 60  # points of a projected curve


def aim(
    roller: Roller, run: RollRun, disruption: float, leaf_temperature_max_c: float | None = None
) -> Aim[RollResult]:
    """Minutes that break a share of cells; less pressure where the leaf would get too hot.

    Parameters
    ----------
    roller, run : Roller, RollRun
        Machine and leaf; ``run.pressure_kpa`` is the most pressure.
    disruption : float
        Wanted share of broken cells, between what the leaf has and 1.
    leaf_temperature_max_c : float, optional
        Limit; the published 35 degrees C when None.

    Raises
    ------
    BadInput
        When the machine would dry or cook the leaf at every pressure.
    """
    finite("disruption", disruption, run.disruption, 0.999, above=True)
    limit = leaf_temperature_max_c or FIGURES["roll.leaf_temperature_max_c"].value
    best = None
    cooked: BadInput | None = None
    for share in np.linspace(1.0, 0.0, 11):
        eased = replace(run, pressure_kpa=run.pressure_kpa * float(share))
        rate = disruption_rate_per_min(roller, eased)
        minutes = math.log((1.0 - run.disruption) / (1.0 - disruption)) / rate
        if minutes > 600.0:
            continue
        try:
            result = simulate(roller, replace(eased, minutes=minutes))
        except BadInput as error:  # it would dry or cook the leaf
            cooked = error
            continue
        settings = {"minutes": minutes, "pressure_kpa": eased.pressure_kpa}
        if best is None or result.leaf_temperature_max_c < best[0].leaf_temperature_max_c:
            best = (result, settings)
        if result.leaf_temperature_max_c <= limit:
            return Aim(settings, result, True, _how(settings, result))
    if best is None and cooked is not None:
        raise cooked
    if best is None:
        result = simulate(roller, replace(run, minutes=600.0))
        settings = {"minutes": 600.0, "pressure_kpa": run.pressure_kpa}
        return Aim(settings, result, False, "Ten hours would not break that many cells.")
    result, settings = best
    reason = (
        f"At no pressure up to the one set does the leaf stay below {limit:.0f} degC; the coolest "
        f"way reaches {result.leaf_temperature_max_c:.1f}. Roll in two turns or cool the room."
    )
    return Aim(settings, result, False, reason)


def _how(settings: dict[str, float], result: RollResult) -> str:
    return (
        f"{settings['minutes']:.0f} min at {settings['pressure_kpa']:.0f} kPa break "
        f"{100 * result.disruption:.0f} % of cells; leaf stays below "
        f"{result.leaf_temperature_max_c:.1f} degC."
    )


def project(
    roller: Roller, run: RollRun, readings: Sequence[StageReading], disruption: float
) -> Projection:
    """When a charge has the wanted share of broken cells, from readings so far.

    Parameters
    ----------
    roller, run : Roller, RollRun
        Machine and leaf.
    readings : sequence of StageReading
        ``leaf_temperature_c``, ``disruption``, ``moisture_wb`` or ``mass_kg`` (of the whole load,
        by its conserved dry matter), hours since the charge started. They correct the pace of
        breaking, the heat of the work, what the charge gives to the room and the moisture the leaf
        came with.
    disruption : float
        Wanted share of broken cells.
    """
    known = check_readings(readings, READS)
    finite("disruption", disruption, run.disruption, 0.999, above=True)
    latest = max([run.minutes] + [60.0 * r.time_h for r in known])
    prior = np.array(
        [
            FIGURES["roll.disruption_log_sd"].value,
            0.2,  # work to heat: common practice, no source
            max(run.moisture_wb_sd, 1e-6),
            0.5,  # what the charge gives to the room: common practice, no source
        ]
    )

    def moved(factors: Array) -> RollResult:
        rate, heat = (math.exp(float(x)) for x in factors[:2])
        changed = replace(
            run,
            minutes=latest,
            moisture_wb=min(0.9, max(0.2, run.moisture_wb + float(factors[2]))),
            rate_factor=run.rate_factor * rate,
            heat_factor=run.heat_factor * heat,
        )
        open_to = replace(roller, loss_w_k=roller.loss_w_k * math.exp(float(factors[3])))
        return simulate(open_to, changed)

    def predict(factors: Array) -> Array:
        r = moved(factors)
        wet = np.array(r.course_moisture_wb)
        course = {
            "leaf_temperature_c": np.array(r.course_leaf_c),
            "disruption": np.array(r.course_disruption),
            "moisture_wb": wet,
            "mass_kg": weighed_kg(run.mass_kg, wet[0], wet),
        }
        return np.array(
            [np.interp(60.0 * x.time_h, r.course_min, course[x.quantity]) for x in known]
        )

    learned = learn(
        predict,
        prior,
        np.array([r.value for r in known]),
        np.array([r.standard_uncertainty for r in known]),
    )
    grid = np.linspace(0.0, latest, _SHOWN)

    def outlook(factors: Array) -> Array:
        r = moved(factors)
        rate = disruption_rate_per_min(roller, run) * math.exp(float(factors[0]))
        finish = math.log((1.0 - run.disruption) / (1.0 - disruption)) / rate / 60.0
        return np.append(np.interp(grid, r.course_min, r.course_moisture_wb), finish)

    value, spread = carry(outlook, learned)
    now = 60.0 * known[-1].time_h if known else 0.0
    sd = spread[:-1]
    return Projection(
        finish_h=float(value[-1]),
        finish_sd_h=float(spread[-1]),
        moisture_wb_now=float(np.interp(now, grid, value[:-1])),
        moisture_wb_now_sd=float(np.interp(now, grid, sd)),
        curve_time_h=tuple((grid / 60.0).tolist()),
        curve_moisture_wb=tuple(value[:-1].tolist()),
        curve_low=tuple((value[:-1] - 1.96 * sd).tolist()),
        curve_high=tuple((value[:-1] + 1.96 * sd).tolist()),
        note=f"Enough cells are broken after {60 * value[-1]:.0f} min, give or take "
        f"{120 * spread[-1]:.0f}.",
    )
