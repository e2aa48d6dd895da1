"""What truly comes of a stage: the stage models, run with what nobody at the works knows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from wareleaf.stages import blanch, dry, mill, oxidise, roll, sift, wither
from wareleaf.works.charge import Charge
from wareleaf.works.demo.truth import Chance, TrueLeaf
from wareleaf.works.house import Works
from wareleaf.works.machines import (
    bath_of,
    dryer_of,
    floor_of,
    mill_of,
    roller_of,
    sifter_of,
    trough_of,
)
from wareleaf.works.predict.tea import CUT
from wareleaf.works.settings import Equipment
from wareleaf.works.weather import window

# How near a belt time must come, as a relative miss of moisture, and how fast the moisture falls at
# the end of a belt, e-folds for one more belt time: where the search starts from. Invented.
NEAR_ENOUGH = 0.05
FALL_PER_RESIDENCE = 4.0


def air_on(works: Works, site: str, at: datetime, hours: int) -> tuple[list[float], ...]:
    """Dry bulb (degC), relative humidity and pressure (Pa) by the hour, on the works' clock."""
    wall = at.astimezone(works.settings.zone).replace(tzinfo=None)
    air = window(works.weather(site), wall, hours)
    humidity = np.minimum(1.0, air.relative_humidity)
    return air.dry_bulb_c.tolist(), humidity.tolist(), air.pressure_pa.tolist()


def blanched(machine: Equipment, leaf: TrueLeaf, settings: Mapping[str, float]) -> TrueLeaf:
    """Leaf after the bath."""
    run = blanch.BlanchRun(
        leaf_id=leaf.leaf,
        mass_kg=leaf.mass_kg,
        moisture_wb=leaf.moisture_wb,
        iodine_mg_kg_dw=leaf.iodine_mg_kg,
        immersion_s=settings["immersion_s"],
    )
    result = blanch.simulate(bath_of(machine, settings), run)
    return replace(
        leaf,
        leaf="sugar_kelp_blanched",
        mass_kg=result.mass_out_kg,
        dry_kg=result.dry_matter_kg,
        iodine_mg_kg=result.iodine_mg_kg_dw,
    )


@dataclass(frozen=True)
class Drying:
    """How a lot goes through a dryer at a time of day."""

    works: Works
    machine: Equipment
    leaf: TrueLeaf
    at: datetime
    feed_kg_h: float
    _known: dict[float, dry.DryResult] = field(default_factory=dict, repr=False)

    def run(self, residence_h: float) -> dry.DryResult:
        """What comes off at a belt time."""
        if residence_h not in self._known:
            self._known[residence_h] = self._simulate(residence_h)
        return self._known[residence_h]

    def _simulate(self, residence_h: float) -> dry.DryResult:
        dry_bulb, humidity, pressure = air_on(
            self.works,
            self.machine.site,
            self.at,
            max(1, round(self.leaf.mass_kg / self.feed_kg_h)),
        )
        run = dry.DryRun(
            leaf_id=self.leaf.leaf,
            moisture_wb=self.leaf.moisture_wb,
            residence_h=residence_h,
            feed_kg_h=self.feed_kg_h,
            mass_kg=self.leaf.mass_kg,
            ambient_c=float(np.mean(dry_bulb)),
            ambient_rh=float(np.mean(humidity)),
            pressure_pa=float(np.mean(pressure)),
            rate_multiplier=self.leaf.pace,
        )
        dryer = dryer_of(self.machine, {})
        coarse = replace(dryer, layers=max(2, dryer.layers // 2), steps=dryer.steps // 2)
        return dry.simulate(coarse, run, with_spread=False)

    def set_by_hand(self, target_wb: float, first_h: float, span_h: tuple[float, float]) -> float:
        """Belt time, in whole minutes, of an operator who lands near a moisture.

        Moisture falls about exponentially with time, so straight lines in its logarithm get there
        in a few tries; it starts from what the last lot needed.
        """
        low_h, high_h = span_h
        tried: list[tuple[float, float]] = []
        hours = first_h
        for _ in range(6):
            hours = min(max(round(60.0 * hours) / 60.0, low_h), high_h)
            if any(abs(hours - t) < 1e-6 for t, _ in tried):
                break
            gap = math.log(self.run(hours).moisture_wb_out / target_wb)
            tried.append((hours, gap))
            if abs(gap) < NEAR_ENOUGH:
                break
            slope = -FALL_PER_RESIDENCE / first_h
            if len(tried) > 1:
                (t0, g0), (t1, g1) = tried[-2:]
                slope = min((g1 - g0) / (t1 - t0), -0.2 / first_h)
            hours -= gap / slope
        return min(tried, key=lambda row: abs(row[1]))[0]


def withering(
    works: Works, machine: Equipment, leaf: TrueLeaf, at: datetime, heating_k: float
) -> wither.WitherResult:
    """A day and more of a load on a trough, at the usual pace."""
    dry_bulb, humidity, pressure = air_on(works, machine.site, at, 31)
    run = wither.WitherRun(
        leaf_id=leaf.leaf,
        mass_kg=leaf.mass_kg,
        moisture_wb=leaf.moisture_wb,
        air_time_h=tuple(float(h) for h in range(31)),
        dry_bulb_c=tuple(dry_bulb),
        relative_humidity=tuple(humidity),
        pressure_pa=tuple(pressure),
        duration_h=30.0,
        heating_k=(heating_k,),
        hours_since_plucking=1.0,
        step_min=30.0,
    )
    return wither.simulate(replace(trough_of(machine), n_layers=5), run)


def wither_moisture(course: wither.WitherResult, leaf: TrueLeaf, hours: float) -> float:
    """True moisture after some hours: a quick lot runs through its course in less time."""
    time = (0.0, *course.time_h)
    moisture = (leaf.moisture_wb, *course.moisture_mean_wb)
    return float(np.interp(hours * leaf.pace, time, moisture))


def wither_hours(course: wither.WitherResult, target_wb: float, pace: float = 1.0) -> float:
    """Hours until a moisture is reached; all 30 when it is not."""
    below = np.asarray(course.moisture_mean_wb) <= target_wb
    at = int(np.argmax(below)) if below.any() else len(below) - 1
    return float(course.time_h[at]) / pace


def rolled(machine: Equipment, leaf: TrueLeaf, minutes: float) -> tuple[TrueLeaf, float]:
    """Leaf after the roller, and the hours it took."""
    run = roll.RollRun(leaf.leaf, leaf.mass_kg, leaf.moisture_wb, minutes=minutes)
    result = roll.simulate(roller_of(machine), run)
    return leaf.at_moisture(result.moisture_wb_out), result.duration_h


def oxidised(
    machine: Equipment, leaf: TrueLeaf, minutes: float, rate: float, yields: float
) -> tuple[TrueLeaf, oxidise.OxidiseResult]:
    """Leaf after the oxidation floor, and its course there."""
    run = oxidise.OxidiseRun(
        leaf.leaf,
        leaf.mass_kg,
        leaf.moisture_wb,
        minutes=minutes,
        cut=str(machine.settings.get("cut", CUT)),
        rate_factor=rate,
        theaflavin_factor=yields,
    )
    result = oxidise.simulate(floor_of(machine, {}), run)
    return leaf.at_moisture(result.moisture_wb_out), result


def theaflavin_at(course: oxidise.OxidiseResult, minutes: float) -> float:
    """True theaflavin after some minutes on the floor."""
    return float(np.interp(minutes, course.course_min, course.course_theaflavin))


def sifted(machine: Equipment, leaf: TrueLeaf, chance: Chance) -> list[tuple[str, TrueLeaf]]:
    """Grades, coarsest first."""
    feed = sift.Feed(size_mm=chance.around(1.4, 0.08))
    run = sift.SiftRun(leaf.leaf, leaf.mass_kg, leaf.moisture_wb, feed=feed)
    grades = sift.simulate(sifter_of(machine), run).grades
    whole = sum(g.mass_kg for g in grades)
    return [(g.name, leaf.part(leaf.mass_kg * g.mass_kg / whole)) for g in grades]


def milled(
    machine: Equipment, leaf: TrueLeaf, product_um: float
) -> tuple[TrueLeaf, TrueLeaf, float]:
    """Leaf after the mill, the dust in the filter, and the hours it took."""
    charge = Charge(leaf.leaf, leaf.mass_kg, leaf.moisture_wb, 0.003, 0.0)
    result = mill.simulate(*mill_of(machine, {"product_um": product_um}, charge))
    return leaf.part(result.mass_out_kg), leaf.part(result.filter_kg), result.duration_h
