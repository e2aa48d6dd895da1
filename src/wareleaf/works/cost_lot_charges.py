"""What each event of the book adds to the cost of its leaf: leaf, labour, energy, packaging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from wareleaf.accounts import Use, footprint, fuel_for_heat_kg
from wareleaf.book import Event
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.charge import Charge
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.predict import predict_charge
from wareleaf.works.settings import Equipment

# Of an air heater without a burner of its own. Common practice, no source.
HEATER_EFFICIENCY = 0.80
_GRID = "grid_kg_co2e_kwh"


@dataclass
class Told:
    """Sentences gathered on the way, by the event they come from."""

    by_event: dict[str, list[str]] = field(default_factory=dict)

    def add(self, event_id: str, sentence: str) -> None:
        """Keep a sentence with its event."""
        self.by_event.setdefault(event_id, []).append(sentence)


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


def charges_of(
    works: Works, event: Event, starts: Mapping[str, Event], told: Told
) -> dict[str, float]:
    """What one event adds to the leaf it moves, by head; ``starts`` by run id."""
    if event.kind == "intake":
        return _leaf_charge(works, event, told)
    if event.kind == "stage_finished":
        return _run_charges(works, event, starts.get(str(event.facts["run_id"])), told)
    if event.kind == "pack":
        return _pack_charges(works, event)
    return {}


def _leaf_charge(works: Works, event: Event, told: Told) -> dict[str, float]:
    total = 0.0
    for made in event.outputs:
        price = works.settings.costs.leaf_per_kg.get(made.leaf)
        if price is None:
            told.add(event.event_id, f"The settings have no price for {made.leaf}; it counts as 0.")
            continue
        total += price * made.mass_g / 1000.0
    return {"leaf": total}


def _run_charges(works: Works, event: Event, start: Event | None, told: Told) -> dict[str, float]:
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
