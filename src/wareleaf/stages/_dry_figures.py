"""The constants of the dryers: rows of ``data/dry.csv`` by name."""

from __future__ import annotations

from functools import cache

from wareleaf.measure import Figure
from wareleaf.stages.common import cite, stage_figures


@cache
def figures() -> dict[str, Figure]:
    """All figures of the dryers by ``subject.quantity``."""
    return stage_figures("dry")


@cache
def number(name: str) -> float:
    """Value of one figure, for example ``bed.exposure``."""
    return figures()[name].value


@cache
def fuel_names() -> tuple[str, ...]:
    """Names of the fuels with a heating value, sorted."""
    return tuple(
        sorted(f.subject for f in figures().values() if f.quantity == "net_heating_value_mj_kg")
    )


def net_heating_value_mj_kg(fuel: str) -> float:
    """Net (lower) heating value of a fuel as fired, MJ/kg."""
    return number(f"{fuel}.net_heating_value_mj_kg")


def fluid_rate_factor_name(leaf_id: str) -> str:
    """Name of the figure that takes the rate constant of a leaf to that in a fluid bed.

    A thin layer dries faster than a fluid bed (0.6, Temple and van Boxtel 1999). Where the constant
    of the profile was itself measured in a fluid bed, that is in it already and its row says 1.
    """
    own = f"{leaf_id}.fluid_bed_rate_factor"
    return own if own in figures() else "fluid_bed.rate_factor"


def citations(*names: str) -> tuple[str, ...]:
    """Citations of the named figures, each once."""
    return cite(figures()[n] for n in names)
