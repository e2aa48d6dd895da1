"""What a kilogram of leaf is worth to the plan, and the prices beside it.

All of this is the works' own choice: the rule is shown with every plan.
"""

from __future__ import annotations

from wareleaf import leaf as leaves
from wareleaf.accounts import fuel_for_heat_kg
from wareleaf.works.cost_lot_charges import HEATER_EFFICIENCY
from wareleaf.works.plan_day.legs import Leg, Pace
from wareleaf.works.settings import Costs, Product

# Leaf that is rolled goes on oxidising; a quarter of an hour between roller, floor and dryer is
# let pass, and half of its value is thought lost in each hour more. Common practice, no source.
AFTER_ROLL_H = 0.25
AFTER_ROLL_LOST_PER_H = 0.5

# A dryer kept hot without leaf burns what its walls lose. Common practice, no source.
IDLE_FUEL_SHARE = 0.05

RULE = (
    "A kilogram of leaf is worth what it yields of the cheapest product it may become, at that "
    "product's price, less the fuel, electricity and labour still to be spent on it up to the "
    "dryer; milling, packing and the leaf itself are not taken off. Diverting and refusing cost "
    "what the settings say. Warming a dryer burns as much as the same hours at full feed, a bath "
    "its first fill. The works' own choice."
)


def fuel_of(pace: Pace, costs: Costs) -> float:
    """Fuel for each kilogram that goes on, kg; heat without a burner counts at its efficiency."""
    if pace.fuel_kg > 0.0 or pace.heat_kwh <= 0.0:
        return pace.fuel_kg
    return fuel_for_heat_kg(pace.heat_kwh, costs.fuel, HEATER_EFFICIENCY)


def running_cost(legs: tuple[Leg, ...], mass_kg: float, costs: Costs) -> float:
    """Fuel, electricity and labour of the legs, for each kilogram of the load as it is."""
    total = 0.0
    for leg in legs:
        pace = leg.paces[0]
        money = fuel_of(pace, costs) * costs.fuel_per_kg
        money += pace.electricity_kwh * costs.electricity_per_kwh
        hours = pace.hours(leg.charge.mass_kg) * pace.machine.crew_needed
        total += money * leg.charge.mass_kg + hours * costs.labour_per_h
    return total / mass_kg


def value_per_kg(product: Product, legs: tuple[Leg, ...], mass_kg: float, costs: Costs) -> float:
    """Worth of a kilogram of the load as it is, never below 0; `RULE` says how."""
    last = legs[-1].after
    dry_kg = last.mass_kg * (1.0 - last.moisture_wb)
    target = min(leaves.profile(product.leaf).moisture_wb_target, product.moisture_wb_max)
    sold_kg = dry_kg / (1.0 - target)
    worth = sold_kg / mass_kg * product.price_per_kg - running_cost(legs, mass_kg, costs)
    return max(0.0, worth)


def warm_up_price(pace: Pace, costs: Costs) -> float:
    """Fuel of one warm-up, in money."""
    return pace.warm_up_fuel_kg * costs.fuel_per_kg


def idle_price_per_h(pace: Pace, costs: Costs) -> float:
    """Fuel of an hour kept hot without leaf, in money."""
    if pace.machine.warm_up_h <= 0.0:
        return 0.0
    return IDLE_FUEL_SHARE * pace.fuel_kg_h * costs.fuel_per_kg
