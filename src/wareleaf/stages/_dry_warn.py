"""What an operator should hear about a dryer run: floods, heat, stewing, lifting, over-drying."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wareleaf import leaf
from wareleaf.stages._dry_figures import number
from wareleaf.stages._dry_heat_source import HeatSupply
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_spec import Dryer, FluidBed
from wareleaf.stages.common import StageResult
from wareleaf.stages.quality_rules import stewing, too_hot

if TYPE_CHECKING:
    from wareleaf.stages._dry_result import DryResult


def warnings_of(
    dryer: Dryer, run: DryRun, profile: leaf.LeafProfile, result: DryResult
) -> tuple[str, ...]:
    """Sentences, most pressing first."""
    return (
        *flood(dryer, result.loading_kg_m2, result.depth_m),
        *too_hot(profile, result.leaf_temperature_max_c),
        *_air(dryer, profile, result),
        *_lift(dryer, result),
        *heat_source(result.supply, max((z.inlet_c for z in result.zones), default=0.0)),
        *moisture(profile, result),
    )


def flood(dryer: Dryer, loading_kg_m2: float, depth_m: float) -> list[str]:
    """Loads that air no longer passes evenly."""
    said = []
    if loading_kg_m2 > dryer.loading_max_kg_m2 * (1 + 1e-9):
        said.append(
            f"The bed floods: {loading_kg_m2:.1f} kg/m2 where at most "
            f"{dryer.loading_max_kg_m2:.1f} pass air evenly; feed less or run the belt faster."
        )
    if not isinstance(dryer, FluidBed) and depth_m > dryer.depth_max_m * (1 + 1e-9):
        said.append(
            f"The bed floods: {depth_m:.2f} m deep where at most {dryer.depth_max_m:.2f} m pass "
            "air evenly; feed less or run the belt faster."
        )
    return said


def _air(dryer: Dryer, profile: leaf.LeafProfile, result: DryResult) -> list[str]:
    said = []
    for n, (zone, z) in enumerate(zip(dryer.zones, result.zones, strict=True), start=1):
        if z.dry_air_kg == 0.0:
            said.append(f"Zone {n} has no air: nothing dries there.")
        elif z.exhaust_relative_humidity > 0.9:
            said.append(
                f"Zone {n} exhausts nearly saturated air ({100 * z.exhaust_relative_humidity:.0f} "
                "% relative humidity): more air or less recirculation would dry faster; "
                "expect dripping in the duct."
            )
        if z.heat_kwh < 0.0 and zone.inlet_c is not None:
            said.append(
                f"Zone {n} cannot hold {zone.inlet_c:.0f} degC: the air that returns to it is "
                "already hotter; it would need cooling or fresh air."
            )
        if z.drained_kg > 0.0:
            said.append(
                f"Zone {n}: {z.drained_kg:.1f} kg of water drips from its return air; "
                "recirculate less there."
            )
    minutes = 60.0 * result.curve_time_h[-1]
    return [*said, *(rule.sentence for rule in stewing(profile, result.exhaust_c, minutes))]


def _lift(dryer: Dryer, result: DryResult) -> list[str]:
    umf = result.minimum_fluidisation_m_s
    if umf is None:
        return []
    said = []
    for n, zone in enumerate(dryer.zones, start=1):
        if zone.velocity_m_s < umf:
            said.append(
                f"Zone {n} at {zone.velocity_m_s:.2f} m/s does not lift the feed: it takes about "
                f"{umf:.2f} m/s; a dead bed scorches."
            )
        elif zone.velocity_m_s > number("fluid_bed.carry_over_ratio") * umf:
            said.append(
                f"Zone {n} at {zone.velocity_m_s:.2f} m/s is far above the {umf:.2f} m/s that "
                "lifts the feed: small leaf and dust blow over."
            )
    return said


def heat_source(made: HeatSupply, hottest_c: float) -> list[str]:
    """What a flame or a heat pump asks for, with the hottest air it makes."""
    said = []
    if made.combustion_water_kg > 0.0:
        said.append(
            f"Combustion gas meets the leaf and brings {made.combustion_water_kg:.1f} kg of water "
            f"and {made.combustion_co2_kg:.1f} kg of carbon dioxide, which must leave with the "
            "exhaust: clean fuel only, and watch carbon monoxide where people work; local codes "
            "decide."
        )
    if made.rejected_kwh > 0.05 * made.pumped_kwh:
        said.append(
            f"The heat pump makes {made.rejected_kwh:.0f} kWh more than the air needs; an outside "
            "condenser must take it, or the coil can be warmer."
        )
    if made.cop and hottest_c > number("heat_pump.air_max_c"):
        said.append(
            f"A heat pump for air of {hottest_c:.0f} degC is unusual: above about "
            f"{number('heat_pump.air_max_c'):.0f} degC ask the maker."
        )
    return said


def moisture(profile: leaf.LeafProfile, result: StageResult) -> list[str]:
    """Leaf too wet to store, or drier than it needs to be."""
    out = result.moisture_wb_out
    if out > profile.moisture_wb_store_limit:
        return [
            f"At {100 * out:.1f} % it does not store: {profile.name} keeps below "
            f"{100 * profile.moisture_wb_store_limit:.1f} %."
        ]
    if out < profile.moisture_wb_overdried:
        return [
            f"At {100 * out:.1f} % it is drier than {100 * profile.moisture_wb_overdried:.1f} %: "
            "weight and fuel are given away, and dry dust burns easily."
        ]
    return []
