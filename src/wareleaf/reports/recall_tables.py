"""A recall as tables of plain cells, for sheets and files: text, numbers and times, no layout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.recall import Recall
from wareleaf.works.recall_elements import MISSING, Cell, elements
from wareleaf.works.recall_flow import Account
from wareleaf.works.sight import sight

NAMES = (
    "summary",
    "lots",
    "received",
    "balance",
    "unexplained",
    "harvest",
    "cooling",
    "initial-packing",
    "receiving",
    "transformation",
    "shipping",
)

CAUTIONS = (
    "The recall rules of your local authority come first: whether it must be told, how fast, and "
    "what it asks for. Your food-safety plan has the number to ring.",
    "This report ranks and adds up what the book holds. It does not say that food is safe; that "
    "takes the quality manager and a competent laboratory.",
    "A share is a mean. Leaf in one lot is taken as well mixed; act on every lot of the list, "
    "however small its share.",
    "Hold and mark the lots where they lie. Whoever ate, handled or breathed something harmful "
    "needs medical advice first.",
)
"""Usual cautions; common practice, no source."""

KIND_WORDS = {"stage_finished": "run", "pack": "packing", "receive_back": "return"}
"""Kinds of entry as people say them, where they say it otherwise."""


@dataclass(frozen=True)
class Table:
    """A table for a sheet or a file.

    Parameters
    ----------
    name : str
        One of `NAMES`.
    title, note : str
        For people.
    head : tuple of str
        Column names with units.
    rows : tuple of tuple
        Text, numbers and times, as long as ``head`` each.
    """

    name: str
    title: str
    note: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def tables(works: Works, found: Recall) -> tuple[Table, ...]:
    """Every table of a recall, key data elements last."""
    seen = sight(works, found.known_at if found.past else None)
    sheets = tuple(
        Table(
            sheet.name.lower().replace(" ", "-"),
            sheet.name,
            f"{sheet.section}. {sheet.missing} elements are missing."
            if sheet.missing
            else f"{sheet.section}. Nothing is missing.",
            sheet.head,
            sheet.rows,
        )
        for sheet in elements(seen, found)
    )
    return (
        _summary(works, found, {s.title: s for s in sheets}),
        _lots(works, found),
        _received(found),
        _balance(found),
        _unexplained(found),
        *sheets,
    )


def table_of(works: Works, found: Recall, name: str) -> Table:
    """One table by name.

    Raises
    ------
    BadInput
        When there is none of that name.
    """
    if name not in NAMES:
        raise BadInput("table", name, f"table is {name!r}; it must be one of {', '.join(NAMES)}.")
    return next(t for t in tables(works, found) if t.name == name)


def _summary(works: Works, found: Recall, sheets: Mapping[str, Table]) -> Table:
    last = found.last
    rows: list[tuple[Cell, ...]] = [
        ("Firm", works.settings.firm.name),
        ("Fault", found.fault_words),
        ("As known on", found.known_at),
        ("Lots reached", len(found.lots)),
        ("Lots still here", len(found.here)),
        ("Of these not on hold", len(found.not_held)),
        ("Customers who received some", len({r.customer_id for r in found.received})),
        ("Dry matter of the fault, kg", last.total_g / 1000.0),
        ("Accounted for, %", round(last.accounted * 100.0, 3)),
        ("Unexplained dry matter, kg", last.unexplained_g / 1000.0),
        ("Its standard uncertainty, kg", found.unexplained_sd_g / 1000.0),
        (
            "Verdict",
            "within what the scales tell" if found.explained else "more than the scales explain",
        ),
        ("Time the book took, s", round(found.seconds, 3)),
        *((f"Note {n}", text) for n, text in enumerate(found.notes, 1)),
        *((f"Sheet {name}", sheet.note) for name, sheet in sheets.items()),
        *((f"Caution {n}", text) for n, text in enumerate(CAUTIONS, 1)),
    ]
    return Table("summary", "Summary", "", ("What", "Value"), tuple(rows))


def _lots(works: Works, found: Recall) -> Table:
    sites = {s.id: s.name for s in works.settings.site}
    head = (
        "Lot",
        "Label",
        "Form",
        "Leaf",
        "Steps from the fault",
        "Why",
        "Site",
        "Place",
        "State",
        "On hold because",
        "Made at",
        "Made, kg",
        "Left here, kg",
        "Share of the fault, %",
        "Dry matter of the fault, kg",
        "Of it left here, kg",
    )
    rows = tuple(
        (
            a.lot.lot_id,
            a.lot.label,
            a.lot.form,
            a.lot.leaf,
            a.level,
            a.why,
            sites.get(a.lot.site, a.lot.site),
            a.lot.place,
            a.lot.status.replace("_", " "),
            a.lot.held_because,
            a.lot.made_at,
            a.lot.mass_g / 1000.0,
            a.lot.remaining_mass_g / 1000.0,
            round(a.share * 100.0, 4),
            round(a.dry_g / 1000.0, 6),
            round(a.left_dry_g / 1000.0, 6),
        )
        for a in found.lots
    )
    note = "Every lot the fault reached. Shares are of dry matter."
    return Table("lots", "Affected lots", note, head, rows)


def _received(found: Recall) -> Table:
    head = (
        "Customer",
        "Market",
        "Contact",
        "Phone",
        "Mail",
        "Lot",
        "Label",
        "Shipped at",
        "Shipped, kg",
        "Came back, kg",
        "Still with them, kg",
        "Share of the fault, %",
        "Dry matter of the fault, kg",
        "Document",
        "Vehicle",
    )
    rows = tuple(
        (
            r.customer,
            r.market,
            r.contact or MISSING,
            r.phone or MISSING,
            r.mail or MISSING,
            r.lot_id,
            r.label,
            r.shipped_at,
            r.mass_kg,
            r.returned_kg,
            r.net_kg,
            round(r.share * 100.0, 4),
            round(r.dry_from_fault_kg, 6),
            r.document or MISSING,
            r.vehicle or MISSING,
        )
        for r in found.received
    )
    return Table("received", "Who received it", "Contacts are those of now.", head, rows)


def time_taken(taken_s: float) -> str:
    """Seconds as people say a duration."""
    minutes, seconds = divmod(round(taken_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {seconds:02d} s"


def balance_of(found: Recall) -> list[tuple[str, int, int]]:
    """Lines of the mass balance: words, grams at the lots at fault, grams followed to the end.

    Each column adds up to what entered with the fault.
    """
    first, last = _parts(found.first), _parts(found.last)
    losses = sorted(n for n in {*first, *last} if n.startswith(_LOST))
    names = [n for n in last if not n.startswith(_LOST) and n != _GAP]
    return [(n, first.get(n, 0), last.get(n, 0)) for n in (*names, *losses, _GAP)]


_LOST, _GAP = "Lost: ", "Unexplained"


def _parts(account: Account) -> dict[str, int]:
    return {
        "In stock": account.in_stock_g,
        "On machines": account.on_machines_g,
        "With customers (shipped less came back)": account.shipped_g,
        "Used, made into other lots": account.used_on_g,
        "Samples": account.samples_g,
        "Waste": account.waste_g,
        **{_LOST + name: grams for name, grams in account.losses_g.items()},
        _GAP: account.unexplained_g,
    }


def _balance(found: Recall) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (name, first / 1000.0, last / 1000.0) for name, first, last in balance_of(found)
    ]
    rows.append(("Entered with the fault", found.first.total_g / 1000.0, found.last.total_g / 1e3))
    rows.append(
        (
            "Accounted for, %",
            round(found.first.accounted * 100.0, 3),
            round(found.last.accounted * 100.0, 3),
        )
    )
    return Table(
        "balance",
        "Mass balance",
        "Dry matter, which drying does not change.",
        ("Where it is", "Lots at fault, kg dry", "Followed to the end, kg dry"),
        tuple(rows),
    )


def _unexplained(found: Recall) -> Table:
    rows: tuple[tuple[Any, ...], ...] = tuple(
        (
            KIND_WORDS.get(m.kind, m.kind),
            ", ".join(m.lot_ids),
            m.place,
            m.happened_at or MISSING,
            round(m.dry_kg, 6),
            round(m.sd_kg, 6),
            m.event_id,
        )
        for m in found.missing
    )
    return Table(
        "unexplained",
        "What is unexplained",
        "The largest first; below 0 more came out than went in.",
        ("At", "Lots", "Place", "When", "Dry matter, kg", "Standard uncertainty, kg", "Entry"),
        rows,
    )
