"""A load through the mill: work, warmth, product size and the dust that the air takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wareleaf import leaf
from wareleaf.air import (
    CP_DRY_AIR_J_KG_K,
    CP_VAPOUR_J_KG_K,
    CP_WATER_J_KG_K,
    enthalpy_j_kg,
    humidity_ratio,
    specific_volume_m3_kg,
)
from wareleaf.measure import require
from wareleaf.stages.common import StageResult, cite, finite, relative_closure, stage_figures
from wareleaf.stages.mill_law import LAWS, check_sizes, work_of

FIGURES = stage_figures("mill")


def figure(name: str) -> float:
    """Value of a row of ``data/mill.csv`` by ``subject.quantity``."""
    return FIGURES[name].value


@dataclass(frozen=True)
class Mill:
    """A mill with its air.

    Parameters
    ----------
    motor_kw, idle_kw : float
        Most shaft power, and what it takes empty.
    law, constant : str, float or None
        ``bond`` (constant = work index, kWh/t), ``rittinger`` (kJ um/kg) or ``kick`` (kJ/kg).
        Bond with the figure in ``data/mill.csv`` when the constant is None.
    air_kg_h : float
        Dry air drawn through.
    loss_w_k : float
        Heat from the housing to the room, per kelvin.
    motor_efficiency : float
        Shaft power over electric power.
    dust_lift, filter_efficiency : float
        Share of the fines that the air takes, and what the filter holds of that.
    """

    motor_kw: float = 15.0
    idle_kw: float = 2.0
    law: str = "bond"
    constant: float | None = None
    air_kg_h: float = 1500.0
    loss_w_k: float = 20.0
    motor_efficiency: float = 0.9
    dust_lift: float = figure("all.dust_lift")
    filter_efficiency: float = figure("all.filter_efficiency")

    def __post_init__(self) -> None:
        """Refuse a mill that cannot be."""
        require(
            self.law in LAWS,
            "law",
            self.law,
            f"law is {self.law!r}; it must be one of {', '.join(LAWS)}.",
        )
        require(
            self.constant is not None or self.law == "bond",
            "constant",
            self.constant,
            f"law {self.law} needs a constant; measure one reduction with a power meter.",
        )
        if self.constant is not None:
            finite("constant", self.constant, 0.0, above=True)
        finite("motor_kw", self.motor_kw, 0.0, unit="kW", above=True)
        finite("idle_kw", self.idle_kw, 0.0, self.motor_kw, "kW")
        finite("air_kg_h", self.air_kg_h, 0.0, unit="kg/h", above=True)
        finite("loss_w_k", self.loss_w_k, 0.0, unit="W/K")
        finite("motor_efficiency", self.motor_efficiency, 0.1, 1.0)
        finite("dust_lift", self.dust_lift, 0.0, 1.0)
        finite("filter_efficiency", self.filter_efficiency, 0.0, 1.0)

    @property
    def law_constant(self) -> float:
        """The constant that is used."""
        return figure("all.work_index_kwh_t") if self.constant is None else self.constant


@dataclass(frozen=True)
class MillRun:
    """Dry leaf to be milled.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        Leaf in.
    feed_um, product_um : float
        80 % passing sizes before and after, micrometres.
    feed_kg_h : float
        Pace.
    leaf_temperature_c, dry_bulb_c, relative_humidity
        Leaf as it comes, and the air drawn in (the room).
    size_exponent : float
        Rosin-Rammler exponent of the product.
    work_factor : float
        Multiplier of the work learned from readings.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    feed_um: float = 5000.0
    product_um: float = 500.0
    feed_kg_h: float = 150.0
    moisture_wb_sd: float = 0.003
    leaf_temperature_c: float = 20.0
    dry_bulb_c: float = 20.0
    relative_humidity: float = 0.5
    size_exponent: float = figure("all.size_exponent")
    work_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        leaf.profile(self.leaf_id)
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.0, 0.3)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        check_sizes(self.feed_um, self.product_um)
        finite("feed_kg_h", self.feed_kg_h, 0.0, unit="kg/h", above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, -20.0, 60.0, "degC")
        finite("dry_bulb_c", self.dry_bulb_c, -20.0, 50.0, "degC")
        finite("relative_humidity", self.relative_humidity, 0.0, 1.0)
        finite("size_exponent", self.size_exponent, 0.2, 6.0)
        finite("work_factor", self.work_factor, 0.0, 100.0, above=True)


@dataclass(frozen=True)
class MillResult(StageResult):
    """The common fields of a stage, the work, and where the dust went.

    ``mass_out_kg`` is the product without what the air took; ``filter_kg`` is held by the filter
    (it can go back to the lot), ``escaped_kg`` is lost.
    """

    mass_residual: float
    product_um: float
    work_kj_kg: float
    shaft_kw: float
    motor_load: float
    fines_share: float
    filter_kg: float
    escaped_kg: float
    dust_g_m3: float


def fines_share(product_um: float, exponent: float) -> float:
    """Share of the product finer than dust, from its 80 % passing size by Rosin-Rammler."""
    scale = product_um / math.log(5.0) ** (1.0 / exponent)  # R(P80) = 0.2
    return -math.expm1(-((figure("all.dust_size_um") / scale) ** exponent))


def simulate(mill: Mill, run: MillRun) -> MillResult:
    """Mill a load at a steady pace.

    All shaft power becomes heat; leaf and air leave at one temperature. Moisture is kept: warm
    air takes a little water, which is left out and would cool the leaf.

    Parameters
    ----------
    mill : Mill
        The machine.
    run : MillRun
        The leaf.
    """
    work = work_of(mill.law, mill.law_constant, run.feed_um, run.product_um) * run.work_factor
    shaft_kw = mill.idle_kw + work * run.feed_kg_h / 3600.0
    hours = run.mass_kg / run.feed_kg_h
    wet_w = float(humidity_ratio(run.dry_bulb_c, run.relative_humidity))
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    leaf_j_kg_k = (1.0 - run.moisture_wb) * solid + run.moisture_wb * CP_WATER_J_KG_K
    leaf_w_k = run.feed_kg_h / 3600.0 * leaf_j_kg_k
    air_kg_s = mill.air_kg_h / 3600.0
    air_w_k = air_kg_s * (CP_DRY_AIR_J_KG_K + wet_w * CP_VAPOUR_J_KG_K)
    carried = leaf_w_k * run.leaf_temperature_c + (air_w_k + mill.loss_w_k) * run.dry_bulb_c
    hot = (1000.0 * shaft_kw + carried) / (leaf_w_k + air_w_k + mill.loss_w_k)
    # Counted again by enthalpies; beyond their range the answer is only "far too hot".
    near = min(hot, 200.0)
    gained = (
        leaf_w_k * (hot - run.leaf_temperature_c)
        + air_kg_s * float(enthalpy_j_kg(near, wet_w) - enthalpy_j_kg(run.dry_bulb_c, wet_w))
        + air_w_k * (hot - near)
        + mill.loss_w_k * (hot - run.dry_bulb_c)
    )
    fines = fines_share(run.product_um, run.size_exponent)
    taken = run.mass_kg * fines * mill.dust_lift
    held = taken * mill.filter_efficiency
    out = run.mass_kg - taken
    air_m3_h = mill.air_kg_h * float(specific_volume_m3_kg(near, wet_w))
    dust = 1000.0 * taken / hours / air_m3_h
    dry = 1.0 - run.moisture_wb
    load = shaft_kw / mill.motor_kw
    return MillResult(
        duration_h=hours,
        mass_in_kg=run.mass_kg,
        mass_out_kg=out,
        dry_matter_kg=out * dry,
        moisture_wb_out=run.moisture_wb,
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=0.0,
        heat_kwh=0.0,
        electricity_kwh=shaft_kw * hours / mill.motor_efficiency,
        fuel_kg=0.0,
        water_residual=relative_closure(
            run.mass_kg * run.moisture_wb,
            (out + held + (taken - held)) * run.moisture_wb,
            run.mass_kg,
        ),
        energy_residual=relative_closure(1000.0 * shaft_kw, gained, 1000.0 * shaft_kw),
        mass_residual=relative_closure(run.mass_kg, out + held + (taken - held), run.mass_kg),
        leaf_temperature_max_c=hot,
        product_um=run.product_um,
        work_kj_kg=work,
        shaft_kw=shaft_kw,
        motor_load=load,
        fines_share=fines,
        filter_kg=held,
        escaped_kg=taken - held,
        dust_g_m3=dust,
        warnings=_warnings(mill, run, hot, load, dust),
        sources=(
            *cite(FIGURES.values()),
            "Bond, Rittinger and Kick as in Geankoplis, 3rd ed., section 14.5, and Coulson and "
            "Richardson vol. 2, chapter 2.",
        ),
    )


def heat_limit_c(leaf_id: str) -> float:
    """Quality limit of the leaf's temperature, from its profile."""
    return float(leaf.profile(leaf_id).leaf_temperature_max_c)


def _warnings(mill: Mill, run: MillRun, hot: float, load: float, dust: float) -> tuple[str, ...]:
    said = []
    if load > 1.0:
        said.append(f"The motor would need {100 * load:.0f} % of its power: feed less.")
    limit = heat_limit_c(run.leaf_id)
    if hot > limit:
        said.append(
            f"Leaf warms to {hot:.0f} degC, its limit is {limit:.0f}: feed less, mill in two "
            "steps or draw more air."
        )
    lower = figure("all.lower_explosible_g_m3")
    if dust > figure("all.ring_limit_share") * lower:
        said.append(
            f"The air carries {dust:.1f} g dust per m3, above a quarter of {lower:.0f} g/m3 "
            "(from memory): have the dust tested and follow the local explosion code."
        )
    said.append(
        "Dry leaf dust can explode: no sparks, earthed metal, clean floors, and a licensed "
        "assessment."
    )
    if mill.constant is None:
        said.append(
            "The work index is an own assumption; calibrate it on the power meter (fit-trial)."
        )
    return tuple(said)
