"""A charge in the roll: work, heat, vapour and broken cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wareleaf import leaf
from wareleaf.air import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    LATENT_HEAT_0C_J_KG,
    humidity_ratio,
)
from wareleaf.measure import require
from wareleaf.stages.common import (
    JOULES_PER_KWH,
    Array,
    StageResult,
    cite,
    finite,
    relative_closure,
    stage_figures,
)

FIGURES = stage_figures("oxidise")
STYLES = ("orthodox", "ctc")
_STEPS = 120
_STEPS_MAX = 20_000


@dataclass(frozen=True)
class Roller:
    """A roller or cutter.

    Parameters
    ----------
    style : str
        ``orthodox`` (rolling table) or ``ctc`` (cutting rollers).
    charge_kg : float
        Leaf in one charge.
    motor_kw, motor_kw_per_kpa : float
        Power at no pressure, and more per kPa of pressure.
    loss_w_k : float
        Heat from the charge to the room, per kelvin.
    turn_min : float
        Minutes between charges.
    """

    style: str = "orthodox"
    charge_kg: float = 180.0
    motor_kw: float = 4.0
    motor_kw_per_kpa: float = 0.1
    loss_w_k: float = 120.0
    turn_min: float = 5.0

    def __post_init__(self) -> None:
        """Refuse a machine that cannot be."""
        require(
            self.style in STYLES,
            "style",
            self.style,
            f"style is {self.style!r}; it must be orthodox or ctc.",
        )
        finite("charge_kg", self.charge_kg, 0.0, unit="kg", above=True)
        finite("motor_kw", self.motor_kw, 0.0, unit="kW")
        finite("motor_kw_per_kpa", self.motor_kw_per_kpa, 0.0)
        finite("loss_w_k", self.loss_w_k, 0.0, unit="W/K")
        finite("turn_min", self.turn_min, 0.0, unit="min")


@dataclass(frozen=True)
class RollRun:
    """Leaf to be rolled, and the settings.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        Withered leaf.
    minutes, pressure_kpa : float
        Settings.
    leaf_temperature_c, room_c, room_relative_humidity
        Leaf as it comes, and the room.
    disruption : float
        Cells broken already, 0 to 1.
    rate_factor, heat_factor : float
        Multipliers learned from readings.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    minutes: float = 30.0
    pressure_kpa: float = 20.0
    moisture_wb_sd: float = 0.01
    leaf_temperature_c: float = 22.0
    room_c: float = 22.0
    room_relative_humidity: float = 0.9
    disruption: float = 0.0
    rate_factor: float = 1.0
    heat_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        profile = leaf.profile(self.leaf_id)
        require(
            profile.crop == "tea",
            "leaf_id",
            self.leaf_id,
            f"leaf_id is {self.leaf_id!r}; only tea leaf is rolled.",
        )
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.2, 0.9)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("minutes", self.minutes, 0.0, 600.0, "min", above=True)
        finite("pressure_kpa", self.pressure_kpa, 0.0, 1e5, "kPa")
        finite("leaf_temperature_c", self.leaf_temperature_c, 1.0, 60.0, "degC")
        finite("room_c", self.room_c, 0.0, 50.0, "degC")
        finite("room_relative_humidity", self.room_relative_humidity, 0.0, 1.0)
        finite("disruption", self.disruption, 0.0, 1.0)
        finite("rate_factor", self.rate_factor, 0.0, 100.0, above=True)
        finite("heat_factor", self.heat_factor, 0.0, 100.0, above=True)


@dataclass(frozen=True)
class RollResult(StageResult):
    """The common fields of a stage, the share of broken cells, and one charge's course."""

    charges: int
    disruption: float
    disruption_sd: float
    course_min: tuple[float, ...]
    course_leaf_c: tuple[float, ...]
    course_disruption: tuple[float, ...]
    course_moisture_wb: tuple[float, ...]


def disruption_rate_per_min(roller: Roller, run: RollRun) -> float:
    """First-order rate of breaking cells; linear in one plus pressure over its reference.

    At the reference pressure it is the figure in ``data/oxidise.csv``; without pressure, half.
    """
    base = FIGURES[f"{roller.style}.disruption_rate_per_min"].value
    pressure = run.pressure_kpa / FIGURES["roll.reference_pressure_kpa"].value
    return base * 0.5 * (1.0 + pressure) * run.rate_factor


def _power_w(roller: Roller, run: RollRun) -> float:
    return 1000.0 * (roller.motor_kw + roller.motor_kw_per_kpa * run.pressure_kpa)


def _charge(roller: Roller, run: RollRun, mass_kg: float) -> Array:
    """One charge in time: rows of H, water, work, loss, vapour heat, vapour, temperature."""
    dry = mass_kg * (1.0 - run.moisture_wb)
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    room_w = float(humidity_ratio(run.room_c, run.room_relative_humidity))
    work = _power_w(roller, run) * run.heat_factor

    def temperature(y: Array) -> float:
        return float(y[0] / (dry * solid + y[1] * CP_WATER_J_KG_K))

    def slope(y: Array) -> Array:
        t = temperature(y)
        loss = roller.loss_w_k * (t - run.room_c)
        # Lewis number 1: mass transfer is heat transfer over the heat capacity of air.
        wet = float(humidity_ratio(min(t, 95.0), 1.0)) - room_w
        vapour = roller.loss_w_k / CP_DRY_AIR_J_KG_K * wet
        carried = vapour * (LATENT_HEAT_0C_J_KG + CP_VAPOUR_J_KG_K * t)
        return np.array([work - loss - carried, -vapour, work, loss, carried, vapour])

    water = mass_kg * run.moisture_wb
    y = np.zeros(6)
    y[0] = (dry * solid + water * CP_WATER_J_KG_K) * run.leaf_temperature_c
    y[1] = water
    # The charge's own time with the room at a quarter of its water, vapour included (about six
    # times dry heat when warm).
    least = dry * solid + 0.25 * water * CP_WATER_J_KG_K
    own_s = least / max(1e-9, 6.0 * roller.loss_w_k)
    count = max(_STEPS, math.ceil(run.minutes * 60.0 / own_s))
    require(
        count <= _STEPS_MAX,
        "loss_w_k",
        roller.loss_w_k,
        f"loss_w_k is {roller.loss_w_k:g}; that is not {mass_kg:.3g} kg leaf in a roller.",
    )
    h = run.minutes * 60.0 / count
    rows = [np.append(y, temperature(y))]
    for _ in range(count):
        a = slope(y)
        b = slope(y + 0.5 * h * a)
        c = slope(y + 0.5 * h * b)
        d = slope(y + h * c)
        y = y + h / 6.0 * (a + 2.0 * b + 2.0 * c + d)
        require(
            y[1] > 0.25 * water and temperature(y) < 150.0,
            "loss_w_k",
            roller.loss_w_k,
            f"loss_w_k of {roller.loss_w_k:g} and {work / 1000.0:.3g} kW on {mass_kg:.3g} kg leaf "
            "would dry or cook it: this is not rolling.",
        )
        rows.append(np.append(y, temperature(y)))
    return np.array(rows)


def simulate(roller: Roller, run: RollRun) -> RollResult:
    """Roll a load, charge after charge of equal size.

    Parameters
    ----------
    roller : Roller
        The machine.
    run : RollRun
        Leaf and settings.
    """
    return _simulated(roller, run)


@lru_cache(maxsize=64)  # the same run is asked for when it starts and when its hours are learned
def _simulated(roller: Roller, run: RollRun) -> RollResult:
    charges = max(1, math.ceil(run.mass_kg / roller.charge_kg - 1e-9))
    size = run.mass_kg / charges
    rows = _charge(roller, run, size)
    dry = size * (1.0 - run.moisture_wb)
    minutes = np.linspace(0.0, run.minutes, len(rows))
    broken = 1.0 - (1.0 - run.disruption) * np.exp(-disruption_rate_per_min(roller, run) * minutes)
    first, last = rows[0], rows[-1]
    water_out = float(last[1])
    moisture = rows[:, 1] / (rows[:, 1] + dry)
    hottest = float(np.max(rows[:, 6]))
    spread = FIGURES["roll.disruption_log_sd"].value
    end = float(broken[-1])
    left = 1.0 - end
    limit = FIGURES["roll.leaf_temperature_max_c"].value
    warnings = ["Broken cells follow own assumptions, not a published law; count a sample."]
    if hottest > limit:
        warnings.insert(
            0,
            f"Leaf reaches {hottest:.0f} degC in the roll; quality falls above {limit:.0f}. "
            "Ease the pressure, roll for less time or cool the room.",
        )
    return RollResult(
        duration_h=charges * (run.minutes + roller.turn_min) / 60.0,
        mass_in_kg=run.mass_kg,
        mass_out_kg=charges * (dry + water_out),
        dry_matter_kg=charges * dry,
        moisture_wb_out=float(moisture[-1]),
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=charges * (size * run.moisture_wb - water_out),
        heat_kwh=0.0,
        electricity_kwh=charges * _power_w(roller, run) * run.minutes * 60.0 / JOULES_PER_KWH,
        fuel_kg=0.0,
        water_residual=relative_closure(float(first[1] - last[1]), float(last[5]), float(first[1])),
        energy_residual=relative_closure(
            float(last[0] - first[0]),
            float(last[2] - last[3] - last[4]),
            float(first[0] + last[2]),
        ),
        leaf_temperature_max_c=hottest,
        charges=charges,
        disruption=end,
        disruption_sd=left * -math.log(max(left, 1e-12)) * spread,
        course_min=tuple(minutes.tolist()),
        course_leaf_c=tuple(rows[:, 6].tolist()),
        course_disruption=tuple(broken.tolist()),
        course_moisture_wb=tuple(moisture.tolist()),
        warnings=tuple(warnings),
        sources=cite(f for k, f in FIGURES.items() if k.startswith(("roll.", roller.style + "."))),
    )
