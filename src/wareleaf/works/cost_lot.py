"""What a lot has cost: money, energy and greenhouse gas, carried from the door by dry matter.

Hours are those of the book. Energy is what the stage models predict for each run, not what a
meter counted; the notes of every answer say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from wareleaf.accounts import (
    BOUNDARY,
    Burden,
    Move,
    Part,
    Use,
    carry,
    footprint,
    fuel,
    fuel_for_heat_kg,
)
from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.charge import Charge
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.predict import predict_charge
from wareleaf.works.settings import Equipment

MONEY = ("leaf", "labour", "electricity", "fuel", "packaging")
HEATER_EFFICIENCY = (
    0.80  # of an air heater without a burner of its own. Common practice, no source.
)
_GRID = "grid_kg_co2e_kwh"

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


@dataclass
class _Told:
    """Sentences gathered on the way, by the event they come from ("" for all)."""

    by_event: dict[str, list[str]] = field(default_factory=dict)

    def add(self, event_id: str, sentence: str) -> None:
        self.by_event.setdefault(event_id, []).append(sentence)


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
    told = _Told()
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


def set_grid_factor(works: Works, who: str, kg_co2e_kwh: float, source: str) -> None:
    """Keep the greenhouse gas of the grid's electricity, with the place it was read.

    There is no default: it is the grid's and the year's.

    Raises
    ------
    BadInput
        For a factor below 0 or above 3 kg/kWh, or no source.
    """
    acting(works, who, "plan the day")
    require(
        0.0 <= kg_co2e_kwh <= 3.0,
        "kg_co2e_kwh",
        kg_co2e_kwh,
        f"kg_co2e_kwh is {kg_co2e_kwh:g}; it must be from 0 to 3 kg a kWh.",
    )
    require(bool(source.strip()), "source", source, "source is empty; say where the factor stands.")
    works.book.settings_put(_GRID, {"value": kg_co2e_kwh, "source": source.strip()})


def grid_factor(works: Works) -> tuple[float, str] | None:
    """The grid's factor, kg CO2e a kWh, and its source; None when nobody has given it."""
    kept = works.book.settings_get(_GRID)
    return None if kept is None else (float(kept["value"]), str(kept["source"]))


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
    works: Works, events: Sequence[Event], starts: Mapping[str, Event], told: _Told
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
        charges = _charges(works, event, starts, told)
        moves.append(Move(event.event_id, tuple(draws), made, charges))
    return moves


def _charges(
    works: Works, event: Event, starts: Mapping[str, Event], told: _Told
) -> dict[str, float]:
    if event.kind == "intake":
        return _leaf_charge(works, event, told)
    if event.kind == "stage_finished":
        return _run_charges(works, event, starts.get(str(event.facts["run_id"])), told)
    if event.kind == "pack":
        return _pack_charges(works, event)
    return {}


def _leaf_charge(works: Works, event: Event, told: _Told) -> dict[str, float]:
    total = 0.0
    for made in event.outputs:
        price = works.settings.costs.leaf_per_kg.get(made.leaf)
        if price is None:
            told.add(event.event_id, f"The settings have no price for {made.leaf}; it counts as 0.")
            continue
        total += price * made.mass_g / 1000.0
    return {"leaf": total}


def _run_charges(works: Works, event: Event, start: Event | None, told: _Told) -> dict[str, float]:
    costs = works.settings.costs
    machine = _machine_of(works, event, start)
    if start is None or machine is None:
        told.add(event.event_id, "A run has no start or machine in the book; it counts as 0.")
        return {}
    hours = max(0.0, (event.happened_at - start.happened_at).total_seconds() / 3600.0)
    charges = {"labour": hours * machine.crew_needed * costs.labour_per_h}
    energy = _energy(works, event, start, machine)
    if energy is None:
        told.add(event.event_id, f"No energy could be predicted for a run on {machine.name}.")
        return charges
    heat_kwh, electricity_kwh, fuel_kg = energy
    if fuel_kg <= 0.0 < heat_kwh:
        fuel_kg = fuel_for_heat_kg(heat_kwh, costs.fuel, HEATER_EFFICIENCY)
        told.add(
            event.event_id,
            f"Heat of the {machine.stage} is taken as {costs.fuel} at "
            f"{HEATER_EFFICIENCY:.0%} (common practice, no source).",
        )
    charges["electricity"] = electricity_kwh * costs.electricity_per_kwh
    charges["fuel"] = fuel_kg * costs.fuel_per_kg
    return charges | _energy_heads(works, machine.stage, electricity_kwh, fuel_kg)


def _energy_heads(
    works: Works, stage: str, electricity_kwh: float, fuel_kg: float
) -> dict[str, float]:
    grid = grid_factor(works)
    found = footprint(
        [Use(stage, electricity_kwh, works.settings.costs.fuel if fuel_kg else "", fuel_kg)],
        grid_kg_co2e_kwh=grid[0] if grid else 0.0,
        product_kg=1.0,
    )
    return {
        "electricity_kwh": found.electricity_kwh,
        "fuel_kwh": found.fuel_kwh,
        "kg_co2e": found.kg_co2e,
        "biogenic_kg_co2": found.biogenic_kg_co2,
    }


def _machine_of(works: Works, event: Event, start: Event | None) -> Equipment | None:
    named = str((start or event).facts.get("equipment", ""))
    return next((m for m in works.settings.equipment if m.id == named), None)


_KEPT: dict[tuple[object, ...], tuple[float, float, float] | None] = {}
_MOST_KEPT = 8192


def _energy(
    works: Works, event: Event, start: Event, machine: Equipment
) -> tuple[float, float, float] | None:
    """Heat kWh, electricity kWh and fuel kg of a run: as kept at its start, else predicted now."""
    kept = start.facts.get("predicted")
    names = ("heat_kwh", "electricity_kwh", "fuel_kg")
    if isinstance(kept, Mapping) and all(isinstance(kept.get(n), int | float) for n in names):
        heat, power, fired = (float(kept[n]) for n in names)
        return heat, power, fired
    mass_g = sum(d.mass_g for d in event.inputs)
    dry_g = sum(d.dry_g for d in event.inputs)
    key = (str(works.folder), machine.model_dump_json(), start.event_id, mass_g, dry_g)
    if key not in _KEPT:
        if len(_KEPT) >= _MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = _predicted(works, event, start, machine)
    return _KEPT[key]


def _predicted(
    works: Works, event: Event, start: Event, machine: Equipment
) -> tuple[float, float, float] | None:
    mass_g = sum(d.mass_g for d in event.inputs)
    if not mass_g:
        return None
    moisture = 1.0 - sum(d.dry_g for d in event.inputs) / mass_g
    lots = works.book.lots(ids=[d.lot_id for d in event.inputs])
    cuts = [
        (start.happened_at - datetime.fromisoformat(str(lot.attributes["cut_at"]))).total_seconds()
        / 3600.0
        for lot in lots
        if lot.attributes.get("cut_at")
    ]
    charge = Charge(lots[0].leaf, mass_g / 1000.0, moisture, 0.01, max(0.0, *cuts, 0.0))
    given = start.facts.get("settings")
    settings = {str(k): float(v) for k, v in given.items()} if isinstance(given, Mapping) else {}
    try:
        seen = predict_charge(works, machine, charge, settings, start.happened_at)
    except BadInput:
        return None
    return seen.heat_kwh, seen.electricity_kwh, seen.fuel_kg


def _pack_charges(works: Works, event: Event) -> dict[str, float]:
    """Film by the pack, and the people of the bench for the hours of its rate."""
    facts, settings = event.facts, works.settings
    product = next((p for p in settings.product if p.id == facts.get("product")), None)
    film = next((f for f in settings.film if f.id == facts.get("film")), None)
    charges = {}
    if product is not None and film is not None:
        area = float(facts.get("packs") or 0) * product.pack_area_m2
        charges["packaging"] = area * film.cost_per_m2
    bench = next(
        (m for m in settings.equipment if m.stage == "pack" and m.site == event.site), None
    )
    if bench is not None and bench.rate_kg_h:
        hours = sum(m.mass_g for m in event.outputs) / 1000.0 / bench.rate_kg_h
        charges["labour"] = hours * bench.crew_needed * settings.costs.labour_per_h
    return charges


def _notes(works: Works, events: Sequence[Event], lot_id: str, told: _Told) -> tuple[str, ...]:
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
