"""Fuels with their heat and emission factors, and published figures to compare with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from wareleaf.measure import BadInput, Evidence, Figure, read_figures, read_sources, require

ROOM = "wareleaf.accounts"
MJ_PER_KWH = 3.6


@dataclass(frozen=True)
class Fuel:
    """A fuel with its emission factors, on the lower heating value.

    Parameters
    ----------
    id : str
        Key in ``data/factors.csv``.
    net_calorific_value_mj_kg : float
        As fired.
    co2_fossil_kg_gj, co2_biogenic_kg_gj, ch4_kg_gj, n2o_kg_gj : float
        A GJ of heat in the fuel.
    evidence : Evidence
        Of the weakest of them.
    source : str
        Citation.
    """

    id: str
    net_calorific_value_mj_kg: float
    co2_fossil_kg_gj: float
    co2_biogenic_kg_gj: float
    ch4_kg_gj: float
    n2o_kg_gj: float
    evidence: Evidence
    source: str

    def co2e_kg_gj(self) -> float:
        """Fossil carbon dioxide with methane and nitrous oxide, 100 years (AR5, memory)."""
        return (
            self.co2_fossil_kg_gj
            + self.ch4_kg_gj * _figure("gwp100", "ch4").value
            + self.n2o_kg_gj * _figure("gwp100", "n2o").value
        )


def figures(subject: str, quantity: str = "") -> tuple[Figure, ...]:
    """Published figures of a subject, to compare with."""
    return tuple(
        f
        for f in read_figures(ROOM, "factors")
        if f.subject == subject and quantity in ("", f.quantity)
    )


def _figure(subject: str, quantity: str) -> Figure:
    return figures(subject, quantity)[0]


@cache
def fuel_ids() -> tuple[str, ...]:
    """Fuels with factors, in table order."""
    rows = read_figures(ROOM, "factors")
    return tuple(f.subject for f in rows if f.quantity == "net_calorific_value_mj_kg")


@cache
def fuel(fuel_id: str) -> Fuel:
    """A fuel by its id.

    Raises
    ------
    BadInput
        For an unknown fuel; the message lists the known ones.
    """
    if fuel_id not in fuel_ids():
        known = ", ".join(fuel_ids())
        raise BadInput("fuel", fuel_id, f"fuel is {fuel_id!r}; known fuels are {known}.")
    rows = figures(fuel_id)
    value = {f.quantity: f.value for f in rows}
    order = list(Evidence)
    return Fuel(
        id=fuel_id,
        evidence=max((f.evidence for f in rows), key=order.index),
        source=read_sources(ROOM)[rows[0].source].cite(),
        **value,
    )


def fuel_for_heat_kg(heat_kwh: float, fuel_id: str, efficiency: float) -> float:
    """Fuel to fire for a heat delivered.

    Parameters
    ----------
    heat_kwh : float
        Delivered to the dryer or bath, 0 or more.
    fuel_id : str
        See `fuel_ids`.
    efficiency : float
        Of furnace and exchanger on the lower heating value, above 0 up to 1.1 (condensing).

    Returns
    -------
    float
        kg (definition of efficiency).

    Raises
    ------
    BadInput
        Outside these ranges.
    """
    require(
        0.0 < efficiency <= 1.1,
        "efficiency",
        efficiency,
        f"efficiency is {efficiency}; it must be above 0 and at most 1.1.",
    )
    require(heat_kwh >= 0.0, "heat_kwh", heat_kwh, f"heat_kwh is {heat_kwh}; it must be 0 or more.")
    return heat_kwh * MJ_PER_KWH / efficiency / fuel(fuel_id).net_calorific_value_mj_kg
