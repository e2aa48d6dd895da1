"""What a lot has cost: money, energy and greenhouse gas, carried from the door by dry matter.

Hours are those of the book. Energy is what the stage models predict for each run, not what a
meter counted; the notes of every answer say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from wareleaf.accounts import BOUNDARY, Burden, Move, Part, carry, fuel
from wareleaf.book import Event
from wareleaf.measure.errors import BadInput
from wareleaf.works.cost_lot_charges import Told, charges_of, grid_factor, set_grid_factor
from wareleaf.works.house import Works

__all__ = ["LotCost", "grid_factor", "lot_cost", "lot_costs", "set_grid_factor"]

MONEY = ("leaf", "labour", "electricity", "fuel", "packaging")

PREDICTED = "Electricity and fuel are predicted by the stage models, not metered."
LOSSES = (
    "What is lost on the way (water, dust, samples, leached matter) is paid by what is left; "
    "shares are by dry matter."
)


@dataclass(frozen=True)
class LotCost:
    """Cost, energy and greenhouse gas of a lot as it was made.

    Parameters
    ----------
    lot_id : str
        The lot.
    mass_kg : float
        As made.
    total, per_kg : mapping of str to float
        Money by head: ``leaf``, ``labour``, ``electricity``, ``fuel``, ``packaging``.
    money, money_per_kg : float
        Sums, in the firm's currency.
    electricity_kwh, fuel_kwh, kg_co2e, biogenic_kg_co2 : float
        For the whole lot; ``kwh_per_kg`` and ``kg_co2e_per_kg`` for each kilogram.
    currency, boundary : str
        What the figures are in, and what they leave out.
    notes : tuple of str
        What they rest on.
    """

    lot_id: str
    mass_kg: float
    total: Mapping[str, float]
    per_kg: Mapping[str, float]
    money: float
    money_per_kg: float
    electricity_kwh: float
    fuel_kwh: float
    kwh_per_kg: float
    kg_co2e: float
    kg_co2e_per_kg: float
    biogenic_kg_co2: float
    currency: str
    boundary: str
    notes: tuple[str, ...]


def lot_cost(works: Works, lot_id: str) -> LotCost:
    """Cost of one lot.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    return lot_costs(works, [lot_id])[lot_id]


def lot_costs(works: Works, lot_ids: Sequence[str]) -> dict[str, LotCost]:
    """Costs of several lots, read from the book once.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    lots = {lot.lot_id: lot for lot in works.book.lots(ids=lot_ids)}
    for lot_id in lot_ids:
        if lot_id not in lots:
            raise BadInput("lot_id", lot_id, f"There is no lot {lot_id} in the book.")
    events = works.book.events_in_force()
    needed = _ancestry(events, lot_ids)
    starts = {str(e.facts["run_id"]): e for e in events if e.kind == "stage_started"}
    told = Told()
    ledger = carry(_moves(works, needed, starts, told))
    return {
        lot_id: _cost(
            works,
            lot_id,
            lots[lot_id].mass_g / 1000.0,
            ledger.lots[lot_id],
            _notes(works, needed, lot_id, told),
        )
        for lot_id in lot_ids
    }


def _ancestry(events: Sequence[Event], lot_ids: Iterable[str]) -> list[Event]:
    """Events that made the lots or anything they were made of, in order of happening."""
    made_by = {m.lot_id: e for e in events for m in e.outputs}
    found: dict[str, Event] = {}
    waiting = list(lot_ids)
    while waiting:
        event = made_by[waiting.pop()]
        if event.event_id not in found:
            found[event.event_id] = event
            waiting.extend(d.lot_id for d in event.inputs)
    return [e for e in events if e.event_id in found]


def _moves(
    works: Works, events: Sequence[Event], starts: Mapping[str, Event], told: Told
) -> list[Move]:
    """The events as the accounts take them, with their charges."""
    left: dict[str, int] = {}
    moves = []
    for event in events:
        draws = []
        for d in event.inputs:
            # The book bears a small overdraw as a residual; the accounts share what there is.
            dry_g = min(d.dry_g, left[d.lot_id])
            left[d.lot_id] -= dry_g
            draws.append(Part(d.lot_id, dry_g))
        made = tuple(
            Part(m.lot_id, m.dry_g, 0.0 if m.form == "refuse" else 1.0) for m in event.outputs
        )
        left |= {m.lot_id: m.dry_g for m in event.outputs}
        charges = charges_of(works, event, starts, told)
        moves.append(Move(event.event_id, tuple(draws), made, charges))
    return moves


def _notes(works: Works, events: Sequence[Event], lot_id: str, told: Told) -> tuple[str, ...]:
    mine = {e.event_id for e in _ancestry(events, [lot_id])}
    said = [PREDICTED, LOSSES]
    said += [s for event_id, group in told.by_event.items() if event_id in mine for s in group]
    grid = grid_factor(works)
    if grid is None:
        said.append(
            "Greenhouse gas of electricity is left out: nobody has given the grid's factor yet."
        )
    else:
        said.append(f"Electricity at {grid[0]:g} kg CO2e a kWh ({grid[1]}).")
    burnt = fuel(works.settings.costs.fuel)
    if burnt.evidence != "read":
        said.append(
            f"Factors of {burnt.id} are from {burnt.evidence.value}: take your national "
            f"inventory's ({burnt.source})."
        )
    return tuple(dict.fromkeys(said))


def _cost(
    works: Works, lot_id: str, mass_kg: float, burden: Burden, notes: tuple[str, ...]
) -> LotCost:
    heads = burden.made_with
    total = {head: heads.get(head, 0.0) for head in MONEY}
    money = sum(total.values())
    power, heat = heads.get("electricity_kwh", 0.0), heads.get("fuel_kwh", 0.0)
    gas = heads.get("kg_co2e", 0.0)
    return LotCost(
        lot_id=lot_id,
        mass_kg=mass_kg,
        total=total,
        per_kg={head: amount / mass_kg for head, amount in total.items()},
        money=money,
        money_per_kg=money / mass_kg,
        electricity_kwh=power,
        fuel_kwh=heat,
        kwh_per_kg=(power + heat) / mass_kg,
        kg_co2e=gas,
        kg_co2e_per_kg=gas / mass_kg,
        biogenic_kg_co2=heads.get("biogenic_kg_co2", 0.0),
        currency=works.settings.firm.currency,
        boundary=BOUNDARY,
        notes=notes,
    )
