"""Take in a load: weigh it, judge its moisture, give it a lot number.

The weight on the grower's ticket is kept beside ours, because the two disagree when a scale or a
clerk is wrong; `watch` compares them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState, Made
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.growing import harvest_of, hold_reason, too_early
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, dry_sd_kg, event_of, new_lot_id

# How far a fresh moisture that nobody measured may be off (one standard deviation).
# Common practice, no source.
ASSUMED_MOISTURE_SD = 0.02
HEAVIEST_LOAD_KG = 100_000.0


@dataclass(frozen=True)
class Load:
    """One load at the door, as the clerk sees it.

    Parameters
    ----------
    source : str
        Line or field it came from.
    gross_kg, tare_kg : float
        Full and empty weight.
    meter : str
        The scale.
    moisture_wb : float or None
        Measured moisture; None takes the profile's usual value, with a wider uncertainty.
    moisture_meter : str
        What measured it.
    surface_water_kg : float
        Rain or sea water on the leaf, deducted: it is weighed as water, not as leaf.
    ticket_kg : float or None
        Weight on the grower's ticket.
    cut_at : datetime or None
        When it was cut or plucked; the usual haul before arrival when not said.
    temperature_c : float or None
        Of the leaf in the middle of a bin.
    own_number : str
        Lot or ticket number of the works' own sheets; kept with the lot and found by `find_lots`.
    harvest : str
        Number of the harvest it is of; its time of cutting stands when none is given.
    """

    source: str
    gross_kg: float
    tare_kg: float
    meter: str
    moisture_wb: float | None = None
    moisture_meter: str = ""
    surface_water_kg: float = 0.0
    ticket_kg: float | None = None
    cut_at: datetime | None = None
    temperature_c: float | None = None
    arrived_at: datetime | None = None
    document: str = ""
    note: str = ""
    own_number: str = ""
    harvest: str = ""


def net_kg(load: Load) -> float:
    """Leaf that was taken in, kg.

    Raises
    ------
    BadInput
        When the weights cannot be those of a load.
    """
    require(
        load.tare_kg >= 0.0,
        "tare_kg",
        load.tare_kg,
        f"tare_kg is {load.tare_kg:g}; it must be 0 or more.",
    )
    require(
        0.0 < load.gross_kg <= HEAVIEST_LOAD_KG,
        "gross_kg",
        load.gross_kg,
        f"gross_kg is {load.gross_kg:g}; it must be above 0 and at most {HEAVIEST_LOAD_KG:g}.",
    )
    require(
        load.surface_water_kg >= 0.0,
        "surface_water_kg",
        load.surface_water_kg,
        f"surface_water_kg is {load.surface_water_kg:g}; it must be 0 or more.",
    )
    net = load.gross_kg - load.tare_kg - load.surface_water_kg
    require(
        net > 0.0,
        "gross_kg",
        load.gross_kg,
        f"gross_kg {load.gross_kg:g} less tare and surface water leaves {net:g} kg; "
        "it must leave more than 0.",
    )
    return net


def take_in(works: Works, who: str, load: Load) -> tuple[Event, LotState]:
    """Record a load; returns the event and the new lot.

    Leaf that was cut before a waiting interval of its line or field ended is put on hold with it,
    in the same writing.

    Raises
    ------
    BadInput
        For an unknown source or meter, impossible weights or moisture, or a person who may not.
    """
    source = works.settings.source_of(load.source)
    acting(works, who, "take in leaf", source.site)
    meter = works.settings.meter_at(source.site, load.meter, "mass_kg")
    profile = leaves.profile(source.leaf)
    net = net_kg(load)
    moisture, moisture_sd = _moisture(works, source.site, load, profile.moisture_wb_fresh)
    arrived = load.arrived_at or works.now()
    of_harvest = _cut_of_harvest(works, load)
    cut_at = load.cut_at or of_harvest or arrived - timedelta(hours=source.haul_h)
    if cut_at > arrived:
        raise BadInput("cut_at", cut_at.isoformat(), "cut_at is after the load arrived.")
    mass_sd = meter.sd(net)
    lot_id = new_lot_id(works, source.site, arrived)
    attributes = {"source": source.id, "cut_at": cut_at.isoformat()}
    if load.own_number:
        attributes["own_number"] = load.own_number
    made = Made(
        lot_id=lot_id,
        leaf=source.leaf,
        form="fresh",
        place="landing",
        mass_g=round(net * 1000.0),
        dry_g=round(net * 1000.0 * (1.0 - moisture)),
        mass_sd_g=mass_sd * 1000.0,
        dry_sd_g=dry_sd_kg(net, mass_sd, moisture, moisture_sd) * 1000.0,
        label=source.name,
        attributes=attributes,
    )
    facts = {
        "source": source.id,
        "gross_kg": load.gross_kg,
        "tare_kg": load.tare_kg,
        "surface_water_kg": load.surface_water_kg,
        "ticket_kg": load.ticket_kg,
        "meter": meter.id,
        "moisture_wb": moisture,
        "moisture_sd": moisture_sd,
        "moisture_meter": load.moisture_meter
        or ("assumed from the leaf profile" if load.moisture_wb is None else "meter not named"),
        "temperature_c": load.temperature_c,
        "cut_at": cut_at.isoformat(),
    }
    if load.harvest:
        facts["harvest"] = load.harvest
    entry = Entry(
        kind="intake",
        site=source.site,
        who=who,
        place="landing",
        why=load.note,
        document=load.document,
        happened_at=arrived,
        outputs=(made,),
        facts=facts,
    )
    events = [event_of(works, entry)]
    reason = hold_reason(works, too_early(works, source.id, cut_at), cut_at)
    if reason:
        held = {"lot_id": lot_id, "reason": reason}
        events.append(
            event_of(works, Entry(kind="hold", site=source.site, who=who, why=reason, facts=held))
        )
    works.book.append_many(events, now=events[-1].recorded_at)
    return events[0], works.book.lot(lot_id)


def _cut_of_harvest(works: Works, load: Load) -> datetime | None:
    """When the harvest of a load was cut; refused when it was of another line or field."""
    if not load.harvest:
        return None
    harvest = harvest_of(works, load.harvest)
    require(
        harvest.source == load.source,
        "harvest",
        load.harvest,
        f"Harvest {load.harvest} was cut at {harvest.source}, this load is from {load.source}; "
        "choose one of the two.",
    )
    return harvest.cut_at


def _moisture(works: Works, site_id: str, load: Load, usual_wb: float) -> tuple[float, float]:
    if load.moisture_wb is None:
        return usual_wb, ASSUMED_MOISTURE_SD
    require(
        0.0 < load.moisture_wb < 1.0,
        "moisture_wb",
        load.moisture_wb,
        f"moisture_wb is {load.moisture_wb:.1%}; fresh leaf must be between 0 and 100 %.",
    )
    if not load.moisture_meter:
        return load.moisture_wb, ASSUMED_MOISTURE_SD
    meter = works.settings.meter_at(site_id, load.moisture_meter, "moisture_wb", "moisture_meter")
    return load.moisture_wb, meter.sd(load.moisture_wb)
