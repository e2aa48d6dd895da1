"""Accounts: cost, energy and carbon of a lot, carried along draws by dry-matter share."""

from wareleaf.accounts.carbon import (
    BOUNDARY,
    Footprint,
    Use,
    footprint,
)
from wareleaf.accounts.carry import Burden, Ledger, Move, Part, Rates, carry, run_charges
from wareleaf.accounts.fuels import Fuel, figures, fuel, fuel_for_heat_kg, fuel_ids

__all__ = [
    "BOUNDARY",
    "Burden",
    "Footprint",
    "Fuel",
    "Ledger",
    "Move",
    "Part",
    "Rates",
    "Use",
    "carry",
    "figures",
    "footprint",
    "fuel",
    "fuel_for_heat_kg",
    "fuel_ids",
    "run_charges",
]
