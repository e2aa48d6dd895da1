"""Put rows in the book, each through the use case that the floor uses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from wareleaf.book import Stream
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.bench import Found, record_result
from wareleaf.works.controls import full_settings
from wareleaf.works.handle_lot import hold
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, new_token, record
from wareleaf.works.release_lot import assess
from wareleaf.works.run_stage import Off, finish_run, record_reading
from wareleaf.works.settings import Equipment
from wareleaf.works.sheets.cells import converted
from wareleaf.works.sheets.fields import SETTING
from wareleaf.works.sheets.pen import Pen
from wareleaf.works.sheets.rows import Row
from wareleaf.works.ship import ship
from wareleaf.works.take_in import Load, take_in


def write(pen: Pen, rows: Sequence[Row]) -> str:
    """Put one row in the book, or the rows of one run; returns a sentence for the preview.

    Raises
    ------
    BadInput
        When a use case or the book refuses it.
    """
    return _WRITE[rows[0].sheet.job](pen, rows)


def _note(pen: Pen, row: Row) -> str:
    said = str(row.get("note", ""))
    imported = f"imported by {pen.importer}: {row.place}"
    return f"{said} ({imported})" if said else imported


def _intake(pen: Pen, rows: Sequence[Row]) -> str:
    row = rows[0]
    own = row.get("lot")
    pen.free(own)
    load = Load(
        source=row.get("source"),
        gross_kg=row.get("gross_kg"),
        tare_kg=row.get("tare_kg", 0.0),
        meter=row.get("scale"),
        moisture_wb=row.get("moisture_wb"),
        moisture_meter=row.get("moisture_meter", ""),
        surface_water_kg=row.get("surface_water_kg", 0.0),
        ticket_kg=row.get("ticket_kg"),
        cut_at=row.get("cut_at"),
        temperature_c=row.get("temperature_c"),
        arrived_at=row.at,
        document=row.get("document", own),
        note=_note(pen, row),
        own_number=own,
    )
    _, lot = take_in(pen.works, pen.who(row), load)
    pen.name(own, lot.lot_id)
    return f"{lot.mass_g / 1000.0:g} kg from {lot.label} as {lot.lot_id}"


def _stage(pen: Pen, rows: Sequence[Row]) -> str:
    """A whole run: on, off, and what came off. No prediction is kept: nobody saw one then."""
    works, first = pen.works, rows[0]
    machine = works.settings.equipment_of(first.get("equipment"))
    who, end = pen.who(first), first.get("end_at")
    acting(works, who, "run a stage", machine.site)
    require(end > first.at, "end_at", end, "the leaf came off before it went on.")
    lots = [works.book.lot(pen.lot(name, "lots")) for name in first.get("lots")]
    kinds = sorted({lot.leaf for lot in lots})
    require(len(kinds) == 1, "lots", kinds, f"a run takes one leaf; these are {', '.join(kinds)}.")
    for row in rows:
        pen.free(row.get("lot"))
        for name in ("end_at", "lots"):
            same = row.get(name) == first.get(name)
            require(same, name, row.get(name), f"{name} is not that of {first.place}, same run.")
    run_id = f"R-{new_token(4)}"
    span = (first.at, end, run_id, first.place)
    pen.occupy(machine, span)
    record(
        works,
        Entry(
            kind="stage_started",
            site=machine.site,
            who=who,
            place=machine.id,
            why=_note(pen, first),
            happened_at=first.at,
            facts={
                "run_id": run_id,
                "stage": machine.stage,
                "equipment": machine.id,
                "settings": _settings(machine, first.values),
                "lots": [lot.lot_id for lot in lots],
                "imported": True,
            },
        ),
    )
    off = [_off(row) for row in rows]
    leached_g = round(sum(row.get("leached_kg", 0.0) for row in rows) * 1000.0)
    streams = [Stream("leached", leached_g, leached_g)] if leached_g else []
    made = finish_run(
        works, who, run_id, off, streams=streams, happened_at=end, note=_note(pen, first)
    )
    pen.runs.setdefault(machine.id, []).append(span)
    for row, lot in zip(rows, made, strict=True):
        pen.name(row.get("lot"), lot.lot_id)
    came = ", ".join(f"{lot.mass_g / 1000.0:g} kg {lot.form} as {lot.lot_id}" for lot in made)
    return f"{machine.name}: {' + '.join(first.get('lots'))} gave {came}"


def _settings(machine: Equipment, values: Mapping[str, object]) -> dict[str, float]:
    """What the sheet says the machine was set to; checked, and nothing made up beside it."""
    given = {
        name.removeprefix(SETTING): float(str(value))
        for name, value in values.items()
        if name.startswith(SETTING)
    }
    checked = full_settings(machine, given)
    return {name: checked[name] for name in given}


def _off(row: Row) -> Off:
    attributes = {"own_number": row.get("lot")}
    if row.get("grade"):
        attributes["grade"] = row.get("grade")
    return Off(
        mass_kg=row.get("mass_kg"),
        moisture_wb=row.get("moisture_wb"),
        moisture_meter=row.get("moisture_meter"),
        scale=row.get("scale"),
        form=row.get("form", ""),
        place=row.get("place", "store"),
        attributes=attributes,
    )


_UNIT_OF = {
    "mass_kg": "kg",
    "moisture_wb": "%",
    "temperature_c": "C",
    "relative_humidity": "%",
    "theaflavin_fraction": "%",
}


def _reading(pen: Pen, rows: Sequence[Row]) -> str:
    row = rows[0]
    meter = pen.works.settings.meter_of(row.get("meter"))
    run_id, lot_id = "", ""
    if row.get("equipment"):
        machine = pen.works.settings.equipment_of(row.get("equipment"))
        run_id = pen.run_at(machine, row.at)
    elif row.get("lot"):
        lot_id = pen.lot(row.get("lot"))
    else:
        raise BadInput("lot", None, "names neither a lot nor a machine; give one.")

    def shown(pair: tuple[float, str]) -> float:
        value, unit = pair
        if meter.quantity == "net_g":
            return converted(value, unit or "g") * 1000.0
        if meter.quantity == "colour_index":
            return value
        return converted(value, unit or _UNIT_OF[meter.quantity])

    reference = row.get("reference")
    event = record_reading(
        pen.works,
        pen.who(row),
        run_id=run_id,
        lot_id=lot_id,
        meter=meter.id,
        value=shown(row.get("value")),
        at=row.at,
        reference_value=None if reference is None else shown(reference),
        note=_note(pen, row),
    )
    return f"{meter.name}: {event.facts['quantity']} {event.facts['value']:g}"


def _result(pen: Pen, rows: Sequence[Row]) -> str:
    row = rows[0]
    value, below = row.get("value")
    plain, expanded = row.get("uncertainty"), row.get("expanded_uncertainty")
    require(
        plain is not None or expanded is not None,
        "uncertainty",
        None,
        "gives no uncertainty; ask the laboratory, a result without it cannot be judged.",
    )
    found = Found(
        parameter=row.get("parameter"),
        value=value,
        standard_uncertainty=plain if plain is not None else expanded / 2.0,
        unit=row.get("unit"),
        basis=row.get("basis"),
        moisture_wb=row.get("moisture_wb"),
        below_loq=below,
        method=row.get("method", ""),
        laboratory=row.get("laboratory", "own bench"),
    )
    lot_id = pen.lot(row.get("lot"))
    record_result(
        pen.works,
        pen.who(row),
        lot_id,
        row.get("sample"),
        found,
        at=row.at,
        document=row.get("document", ""),
        note=_note(pen, row),
        sampled_here=False,
    )
    return f"{found.parameter} {found.value:g} {found.unit} on {lot_id}"


def _shipment(pen: Pen, rows: Sequence[Row]) -> str:
    row = rows[0]
    works, lot_id = pen.works, pen.lot(row.get("lot"))
    customer = works.settings.customer_of(row.get("customer"))
    if row.get("released_by") and customer.market not in works.book.lot(lot_id).released_for:
        _released_on_paper(pen, row, lot_id, customer.market)
    event = ship(
        works,
        pen.who(row),
        customer.id,
        {lot_id: row.get("mass_kg")},
        vehicle=row.get("vehicle", ""),
        document=row.get("document", ""),
        happened_at=row.at,
        note=_note(pen, row),
    )
    return f"{event.inputs[0].mass_g / 1000.0:g} kg of {lot_id} to {customer.name}"


def _released_on_paper(pen: Pen, row: Row, lot_id: str, market: str) -> None:
    """Record that the quality manager had signed this lot on paper before it left.

    What Wareleaf itself makes of the lot is kept beside it and told when it says otherwise.
    """
    works, signer, paper = pen.works, row.get("released_by"), row.get("release_document")
    lot = works.book.lot(lot_id)
    acting(works, signer, "release a lot", lot.site)
    require(bool(paper), "release_document", paper, "names who released the lot but no paper.")
    verdict = assess(works, lot_id, market, row.at.date())
    record(
        works,
        Entry(
            kind="release",
            site=lot.site,
            who=signer,
            why=_note(pen, row),
            document=paper,
            happened_at=row.at,
            facts={
                "lot_id": lot_id,
                "markets": [verdict.market.id],
                "decisions": [verdict.as_facts()],
                "note": f"signed on paper {paper}, imported by {pen.importer}",
                "on_paper": True,
            },
        ),
    )
    pen.released[lot_id] = str(paper)
    if not verdict.may_release:
        pen.warnings.append(
            f"{row.place}: {lot_id} left for {verdict.market.name} on paper {paper}; "
            f"the book itself says: {' '.join(verdict.sentences[:2])}"
        )


def hold_the_rest(pen: Pen) -> None:
    """Hold what is left of lots that were released on paper only, until they are assessed here."""
    for lot_id, paper in pen.released.items():
        if pen.works.book.lot(lot_id).remaining_mass_g:
            reason = f"released on paper ({paper}) before the import; release it here first"
            hold(pen.works, pen.importer, lot_id, reason)
            pen.warnings.append(f"What is left of {lot_id} is held: {reason}.")


_WRITE: Mapping[str, Callable[[Pen, Sequence[Row]], str]] = {
    "intake": _intake,
    "stage": _stage,
    "reading": _reading,
    "result": _result,
    "shipment": _shipment,
}
