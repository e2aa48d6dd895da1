"""Lots in store as a blend sees them: what is left, what it cost, what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput
from wareleaf.release import Result
from wareleaf.release.quantities import convert_content
from wareleaf.works.bench import results_of
from wareleaf.works.cost_lot import lot_costs
from wareleaf.works.house import Works
from wareleaf.works.watch import moisture_of

MOISTURE = "moisture_wb"
DRY, AS_IS = "dry", "as is"
COMMON_UNIT = "mg/kg"


@dataclass(frozen=True)
class Known:
    """A property of a lot: value, standard uncertainty, and what it is a share of."""

    value: float
    sd: float
    basis: str


@dataclass(frozen=True)
class StockLot:
    """A lot that may be drawn; ``properties`` by name as `blend_order.Order` limits them."""

    lot: LotState
    moisture_wb: float
    cost_per_kg: float
    properties: Mapping[str, Known]


def in_store(
    works: Works, site_id: str, leaf: str, form: str
) -> tuple[list[StockLot], list[str], list[str]]:
    """Lots of a leaf in a form, sentences on those left out, and notes on what is not used."""
    stock: list[StockLot] = []
    left_out: list[str] = []
    notes: list[str] = []
    lots = [
        lot
        for lot in works.book.lots(
            site=site_id, form=(form, "blended"), leaf=leaf, in_stock_only=True
        )
        if form_of(lot) == form
    ]
    free = []
    for lot in lots:
        if lot.held_because:
            left_out.append(f"{lot.lot_id} is on hold: {lot.held_because}.")
        elif lot.on_runs:
            left_out.append(f"{lot.lot_id} is on a machine.")
        else:
            free.append(lot)
    costs = lot_costs(works, [lot.lot_id for lot in free])
    for lot in free:
        moisture, sd = _moisture(works, lot)
        properties = {MOISTURE: Known(moisture, sd, AS_IS)}
        properties |= {
            f"grade:{g}": Known(share, 0.0, AS_IS) for g, share in grades_of(lot).items()
        }
        properties |= _laboratory(works, lot, notes)
        stock.append(StockLot(lot, moisture, costs[lot.lot_id].money_per_kg, properties))
    return _with_all_grades(stock), left_out, notes


def form_of(lot: LotState) -> str:
    """Form of a lot, and for a blend the form of what it was blended of."""
    return str(lot.attributes.get("blended_of", lot.form)) if lot.form == "blended" else lot.form


def grades_of(lot: LotState) -> dict[str, float]:
    """Share of each grade; empty where no grade is known."""
    several = lot.attributes.get("grades")
    if isinstance(several, Mapping):
        return {str(g): float(s) for g, s in several.items()}
    grade = lot.attributes.get("grade")
    return {str(grade): 1.0} if grade else {}


def _with_all_grades(stock: list[StockLot]) -> list[StockLot]:
    """A graded lot holds none of the grades it does not name."""
    names = {n for s in stock for n in s.properties if n.startswith("grade:")}
    return [
        StockLot(
            s.lot,
            s.moisture_wb,
            s.cost_per_kg,
            {**{n: Known(0.0, 0.0, AS_IS) for n in names}, **s.properties}
            if grades_of(s.lot)
            else s.properties,
        )
        for s in stock
    ]


def _moisture(works: Works, lot: LotState) -> tuple[float, float]:
    moisture, sd = moisture_of(works, lot)
    return min(max(moisture, 0.0), 0.99), sd


def _laboratory(works: Works, lot: LotState, notes: list[str]) -> dict[str, Known]:
    """Results that speak for a lot, in mg per kg dry matter; the nearest and latest one counts.

    A result below what the laboratory can measure counts as that limit, the careful side.
    """
    nearest: dict[str, tuple[str, Result]] = {}
    for on_lot, result, _ in results_of(works, lot.lot_id):
        if result.parameter == "moisture":
            continue
        before = nearest.get(result.parameter)
        if before is None or before[0] == on_lot:  # later results of the same lot replace it
            nearest[result.parameter] = (on_lot, result)
    found = {}
    for name, (_, result) in nearest.items():
        try:
            content = convert_content(
                result.value,
                result.standard_uncertainty,
                unit=result.unit,
                to_unit=COMMON_UNIT,
                basis=result.basis,
                to_basis="dry",
                moisture_wb=result.moisture_wb,
            )
        except BadInput as error:
            notes.append(f"{name} of {lot.lot_id} is not used: {error}")
            continue
        found[name] = Known(content.value, content.standard_uncertainty, DRY)
    return found
