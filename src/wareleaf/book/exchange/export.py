"""The book as an EPCIS 2.0 document: every event that speaks of a lot, corrections by declaration.

A correction changes no event. The wrong event is repeated with an error declaration that names the
right one, as the standard asks. Dry matter, losses and facts go along as our own extension fields,
so that another works with this program gets the same book back; without ``private`` the names of
staff, reasons and facts stay at home.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wareleaf.book.chain import canonical
from wareleaf.book.event import JSON, Event, Made
from wareleaf.book.exchange.event_hash import event_hash
from wareleaf.book.exchange.kinds import SHAPES, Shape
from wareleaf.book.exchange.naming import NAMESPACE, PREFIX, Naming
from wareleaf.book.exchange.sensors import cold, sensor, time_text
from wareleaf.book.exchange.uris import CANONICAL
from wareleaf.book.kinds import lots_named

CONTEXT: list[Any] = [
    "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld",
    {PREFIX: NAMESPACE},
]


def document(
    events: Iterable[Event],
    naming: Naming,
    *,
    created: datetime,
    document_id: str = "",
    private: bool = False,
    products: Mapping[str, str] | None = None,
) -> dict[str, JSON]:
    """An EPCIS 2.0 document of events.

    Parameters
    ----------
    events : iterable of Event
        As recorded, corrections among them, in recorded order.
    naming : Naming
        How lots and places are addressed.
    created : datetime
        When the document is made.
    document_id : str
        Its address; one under the works' own base when left out.
    private : bool
        Take people, reasons and facts along.
    products : mapping
        Product id by lot id, for lots that have a GTIN; those made in the events are found here.

    Returns
    -------
    dict
        JSON data; `problems_of` finds nothing wrong with it.
    """
    writer = _Writer(naming, private, dict(products or {}))
    written = [_written(event, writer) for event in events]
    return {
        "@context": CONTEXT,
        "id": document_id or naming.own("document", created.strftime("%Y%m%dT%H%M%SZ")),
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": time_text(created),
        "epcisBody": {"eventList": _with_declarations(written)},
    }


@dataclass(frozen=True, slots=True)
class _Written:
    """A book event with its EPCIS form; none for a void correction or what names no lot."""

    event: Event
    data: dict[str, JSON] | None
    own: dict[str, JSON]


def _written(event: Event, w: _Writer) -> _Written:
    for made in event.outputs:
        product = made.attributes.get("product")
        if isinstance(product, str):
            w.products[made.lot_id] = product
    kind = str(event.facts.get("kind", "")) if event.kind == "correction" else event.kind
    own = _own_fields(event, kind, w)
    void = event.kind == "correction" and bool(event.facts.get("void"))
    data = None if void or kind not in SHAPES else _event(event, kind, w, own)
    return _Written(event, data, own)


def _with_declarations(written: list[_Written]) -> list[dict[str, JSON]]:
    out: list[dict[str, JSON]] = []
    by_id = {one.event.event_id: one.data for one in written}
    for one in written:
        wrong = by_id.get(one.event.corrects) if one.event.corrects else None
        if wrong is not None:
            declaration: dict[str, JSON] = {
                "declarationTime": time_text(one.event.recorded_at),
                "reason": "incorrect_data" if one.data else "did_not_occur",
            }
            if one.data:
                declaration["correctiveEventIDs"] = [one.data["eventID"]]
            else:
                declaration |= one.own
            out.append({**wrong, "errorDeclaration": declaration})
        if one.data is not None:
            out.append(one.data)
    return out


class _Writer:
    def __init__(self, naming: Naming, private: bool, products: dict[str, str]):
        self.naming, self.private, self.products = naming, private, products

    def lot(self, lot_id: str) -> str:
        return self.naming.lot(lot_id, self.products.get(lot_id, ""))

    def amount(self, lot_id: str, mass_g: int) -> dict[str, JSON]:
        return {"epcClass": self.lot(lot_id), "quantity": mass_g / 1000.0, "uom": "KGM"}


def _event(event: Event, kind: str, w: _Writer, own: Mapping[str, JSON]) -> dict[str, JSON] | None:
    shape = SHAPES[kind]
    inputs = [w.amount(d.lot_id, d.mass_g) for d in event.inputs]
    outputs = [w.amount(m.lot_id, m.mass_g) for m in event.outputs]
    if shape.type == "TransformationEvent" and not outputs:  # a run of which nothing was left
        shape = Shape("ObjectEvent", "DELETE", "destroying", "destroyed")
    data: dict[str, JSON] = {
        "type": shape.type,
        "eventTime": time_text(event.happened_at),
        "recordTime": time_text(event.recorded_at),
        "eventTimeZoneOffset": _offset(event.happened_at),
    }
    if shape.type == "TransformationEvent":
        data |= {"inputQuantityList": inputs, "outputQuantityList": outputs}
        run = event.facts.get("run_id")
        if isinstance(run, str):
            data["transformationID"] = w.naming.own("run", run)
    elif shape.type == "AggregationEvent":
        data |= {
            "parentID": f"{CANONICAL}00/{event.facts['sscc']}",
            "childQuantityList": [
                w.amount(item["lot_id"], item["mass_g"]) for item in event.facts["lots"]
            ],
            "action": shape.action,
        }
    elif not _name_subjects(data, event, kind, shape, outputs or inputs, w):
        return None
    data["bizStep"] = shape.step
    if shape.disposition:
        data["disposition"] = shape.disposition
    data["readPoint"] = {"id": w.naming.place(event.site, event.place)}
    _add_papers(data, event, kind, w)
    if kind in ("reading", "result"):
        data["sensorElementList"] = [sensor(event, kind)]
    elif kind == "cooling":
        data["sensorElementList"] = [cold(event)]
    if event.outputs and (data.get("action") == "ADD" or shape.type == "TransformationEvent"):
        data["ilmd"] = _master(event.outputs)
    data |= own
    data["eventID"] = event_hash(data, CONTEXT)
    return data


def _name_subjects(
    data: dict[str, JSON],
    event: Event,
    kind: str,
    shape: Shape,
    amounts: list[dict[str, JSON]],
    w: _Writer,
) -> bool:
    """Say what an object event is about; False when it is about nothing that has an address."""
    subjects = amounts or [{"epcClass": w.lot(n)} for n in lots_named(event)]
    action = shape.action
    if kind == "count":
        action = "ADD" if event.outputs else "DELETE" if event.inputs else "OBSERVE"
    data["action"] = action
    things = _things(event, kind, w)
    data |= {"quantityList": subjects} if subjects else {}
    data |= {"epcList": things} if things else {}
    return bool(subjects or things) or kind in ("reading", "cooling")


def _things(event: Event, kind: str, w: _Writer) -> list[JSON]:
    """Addresses of what is no lot: pallets that left, a harvest, a growing unit."""
    facts = event.facts
    if kind == "ship":
        return [f"{CANONICAL}00/{sscc}" for sscc in facts.get("pallets") or ()]
    if kind in ("harvest", "cooling") and facts.get("harvest_id"):
        return [w.naming.own("harvest", str(facts["harvest_id"]))]
    if kind == "site_work":
        return [w.naming.own("source", str(facts["source"]))]
    return []


def _add_papers(data: dict[str, JSON], event: Event, kind: str, w: _Writer) -> None:
    papers: list[JSON] = []
    if event.document:
        paper = {
            "ship": "desadv",
            "intake": "recadv",
            "receive_back": "rma",
            "destroy": "cert",
        }.get(kind, "prodorder")
        papers.append({"type": paper, "bizTransaction": w.naming.own("document", event.document)})
    sample = event.facts.get("sample_id")
    if kind == "result" and isinstance(sample, str):
        papers.append({"type": "testres", "bizTransaction": w.naming.own("sample", sample)})
    if papers:
        data["bizTransactionList"] = papers
    customer, source = event.facts.get("customer"), event.facts.get("source")
    if kind == "ship" and isinstance(customer, str):
        data["destinationList"] = [
            {"type": "owning_party", "destination": w.naming.party(customer)}
        ]
        data["sourceList"] = [{"type": "location", "source": w.naming.place(event.site, "")}]
    if kind == "receive_back" and isinstance(customer, str):
        data["sourceList"] = [{"type": "owning_party", "source": w.naming.party(customer)}]
    if kind == "intake" and isinstance(source, str) and source:
        data["sourceList"] = [{"type": "possessing_party", "source": w.naming.party(source)}]
    certificate = event.facts.get("certificate")
    if kind == "release" and isinstance(certificate, str) and "://" in certificate:
        data["certificationInfo"] = [certificate]


def _master(outputs: Iterable[Made]) -> dict[str, JSON]:
    """Master data of the new lots. One ilmd serves all, so what differs is told as a list."""
    made = list(outputs)
    data: dict[str, JSON] = {"cbvmda:lotNumber": [m.lot_id for m in made]}
    for key, name in (("best_before", "bestBeforeDate"), ("country", "countryOfOrigin")):
        values = sorted({str(m.attributes[key]) for m in made if key in m.attributes})
        if len(values) == 1:
            data[f"cbvmda:{name}"] = values[0]
    if len(made) == 1:
        data["cbvmda:lotNumber"] = made[0].lot_id
    return data


def _own_fields(event: Event, kind: str, w: _Writer) -> dict[str, JSON]:
    """Our own extension: what the standard has no field for."""
    own: dict[str, JSON] = {"kind": kind, "eventId": event.event_id, "site": event.site}
    own["place"] = event.place
    if event.inputs:
        own["drawn"] = [
            _prefixed({"lotId": d.lot_id, "massGrams": d.mass_g, "dryGrams": d.dry_g})
            for d in event.inputs
        ]
    if event.outputs:
        own["made"] = [_made(m, w.private) for m in event.outputs]
    if event.streams:
        own["lost"] = [
            _prefixed({"name": s.name, "massGrams": s.mass_g, "dryGrams": s.dry_g})
            for s in event.streams
        ]
    if event.corrects:
        own |= {"corrects": event.corrects, "happenedAt": time_text(event.happened_at)}
    if w.private:
        facts = dict(event.facts)
        own |= {
            "who": event.who,
            "why": event.why,
            "document": event.document,
            "facts": canonical(facts).decode(),
        }
    return _prefixed({k: v for k, v in own.items() if v not in ("", [])})


def _made(made: Made, private: bool) -> dict[str, JSON]:
    found: dict[str, JSON] = {
        "lotId": made.lot_id,
        "leaf": made.leaf,
        "form": made.form,
        "place": made.place,
        "label": made.label,
        "massGrams": made.mass_g,
        "dryGrams": made.dry_g,
        "massSdGrams": made.mass_sd_g,
        "drySdGrams": made.dry_sd_g,
    }
    if private:
        found["attributes"] = canonical(dict(made.attributes)).decode()
    return _prefixed({k: v for k, v in found.items() if v != ""})


def _prefixed(fields: Mapping[str, JSON]) -> dict[str, JSON]:
    return {f"{PREFIX}:{k}": v for k, v in fields.items()}


def _offset(moment: datetime) -> str:
    return moment.isoformat()[-6:]
