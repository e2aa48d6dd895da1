"""Pallets: packed lots on one, found by its number (SSCC), shipped as a whole."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, LotState
from wareleaf.book.identifiers import with_check_digit
from wareleaf.book.kind_facts import check_sscc
from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, record

JOB = "build a pallet"
KEY = "pallet-numbers"
_SCANNED = re.compile(r"^(?:\](?:C1|d2|Q3))?(?:\(00\)|00)?(\d{18})$")
_LINK = re.compile(r"/00/(\d{18})(?:[/?#]|$)")


@dataclass(frozen=True)
class Pallet:
    """A pallet: what stands on it now, and all that was ever done with it.

    Parameters
    ----------
    sscc : str
        Its number.
    on_it : tuple of (LotState, int)
        Lots on it and grams of each.
    events : tuple of Event
        Put on, taken off, shipped; in order.
    """

    sscc: str
    on_it: tuple[tuple[LotState, int], ...]
    events: tuple[Event, ...]

    @property
    def shipped(self) -> Event | None:
        """The shipment it left with, unless it was built anew since."""
        last = self.events[-1] if self.events else None
        return last if last is not None and last.kind == "ship" else None


def sscc_in(text: str) -> str:
    """The pallet number in a typed or scanned text; empty when there is none."""
    packed = text.strip().replace(" ", "")
    found = _SCANNED.match(packed) or _LINK.search(packed)
    return found[1] if found else ""


def set_numbers(works: Works, company_prefix: str) -> None:
    """Say the GS1 company prefix that new pallet numbers start with.

    Raises
    ------
    BadInput
        When it has not 4 to 12 digits.
    """
    require(
        company_prefix.isascii() and company_prefix.isdigit() and 4 <= len(company_prefix) <= 12,
        "prefix",
        company_prefix,
        f"prefix is {company_prefix!r}; a GS1 company prefix has 4 to 12 digits.",
    )
    kept = works.book.settings_get(KEY)
    last = kept["last"] if isinstance(kept, dict) and kept["prefix"] == company_prefix else 0
    works.book.settings_put(KEY, {"prefix": company_prefix, "last": last})


def next_number(works: Works) -> str:
    """A new pallet number under the works' own prefix; never given twice.

    Raises
    ------
    BadInput
        When the prefix was never said.
    """
    with works.book.draft() as draft:
        kept = draft.settings_get(KEY)
        if not isinstance(kept, dict):
            raise BadInput(
                "sscc",
                "",
                "A new pallet number needs your GS1 company prefix; say it once with: wareleaf "
                "pallet numbers PREFIX. Or type the number of a label you have.",
            )
        count = int(kept["last"]) + 1
        room = 16 - len(kept["prefix"])
        require(count < 10**room, "sscc", count, "All pallet numbers of this prefix are used up.")
        draft.settings_put(KEY, {**kept, "last": count})
    return with_check_digit(f"0{kept['prefix']}{count:0{room}d}")


def pallet_of(works: Works, text: str) -> Pallet:
    """A pallet by its number, typed or scanned.

    Raises
    ------
    BadInput
        When that is no pallet number or nothing ever stood on such a pallet.
    """
    sscc = sscc_in(text)
    check_sscc(sscc or text)
    kinds = ("aggregate", "disaggregate", "ship")
    events = tuple(
        e
        for e in works.book.events_in_force(kind=kinds)
        if e.facts.get("sscc") == sscc or sscc in (e.facts.get("pallets") or ())
    )
    if not events:
        raise BadInput("sscc", sscc, f"Nothing ever stood on a pallet {sscc}.")
    lots = works.book.lots(in_stock_only=True)
    return Pallet(sscc, tuple((k, k.pallets[sscc]) for k in lots if sscc in k.pallets), events)


def pallets_here(works: Works, site_id: str) -> dict[str, list[tuple[LotState, int]]]:
    """Pallets at a site with the lots on each and grams."""
    found: dict[str, list[tuple[LotState, int]]] = {}
    for lot in works.book.lots(site=site_id, in_stock_only=True):
        for sscc, mass_g in lot.pallets.items():
            found.setdefault(sscc, []).append((lot, mass_g))
    return dict(sorted(found.items()))


def put_on(
    works: Works,
    who: str,
    lots_packs: Mapping[str, int | None],
    *,
    sscc: str = "",
    place: str = "",
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> Pallet:
    """Put packed lots, or a number of packs of each, on a pallet.

    Parameters
    ----------
    lots_packs : mapping
        Packs by lot; None for all that stand on no pallet.
    sscc : str
        Number on the pallet's label; a new one when empty.

    Raises
    ------
    BadInput
        For another number, lots that are not packed or of several sites, or more than is there.
    """
    require(bool(lots_packs), "lots", [], "Name at least one packed lot for the pallet.")
    lots = [works.book.lot(lot_id) for lot_id in lots_packs]
    sites = {lot.site for lot in lots}
    require(len(sites) == 1, "lots", sorted(sites), "A pallet stands at one site.")
    site = sites.pop()
    acting(works, who, JOB, site)
    items = [_item(lot, lots_packs[lot.lot_id]) for lot in lots]
    number = _number(sscc) if sscc.strip() else next_number(works)
    facts = {"sscc": number, "lots": items}
    record(
        works,
        Entry("aggregate", site, who, place, note, document, happened_at, facts=facts),
    )
    return pallet_of(works, number)


def take_off(
    works: Works,
    who: str,
    sscc: str,
    lot_ids: Sequence[str] = (),
    *,
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> Pallet:
    """Take lots off a pallet; all that stands on it when none are named.

    Raises
    ------
    BadInput
        When the pallet is empty or a lot does not stand on it.
    """
    pallet = pallet_of(works, sscc)
    on_it = {lot.lot_id: (lot, mass_g) for lot, mass_g in pallet.on_it}
    require(bool(on_it), "sscc", sscc, f"Nothing stands on pallet {pallet.sscc} now.")
    for lot_id in lot_ids:
        require(
            lot_id in on_it, "lots", lot_id, f"{lot_id} does not stand on pallet {pallet.sscc}."
        )
    wanted = [on_it[k] for k in (lot_ids or on_it)]
    site = wanted[0][0].site
    acting(works, who, JOB, site)
    items: list[dict[str, object]] = [
        {"lot_id": lot.lot_id, "mass_g": mass_g} for lot, mass_g in wanted
    ]
    facts = {"sscc": pallet.sscc, "lots": items}
    record(
        works,
        Entry("disaggregate", site, who, "", note, document, happened_at, facts=facts),
    )
    return pallet_of(works, pallet.sscc)


def _number(text: str) -> str:
    found = sscc_in(text)
    check_sscc(found or text.strip())
    return found


def _item(lot: LotState, packs: int | None) -> dict[str, object]:
    if packs is None:
        require(
            lot.loose_g > 0, "lots", lot.lot_id, f"Nothing of {lot.lot_id} is here off a pallet."
        )
        return {"lot_id": lot.lot_id, "mass_g": lot.loose_g}
    return {"lot_id": lot.lot_id, "mass_g": packs_g(lot, packs), "packs": packs}


def packs_g(lot: LotState, packs: int) -> int:
    """What some packs of a packed lot weigh, g: their share, and all that is left for the last.

    Raises
    ------
    BadInput
        For a lot whose packs the book did not count, or more than are here and on no pallet.
    """
    loose, made = lot.loose_g, lot.attributes.get("packs")
    require(packs > 0, "packs", packs, f"{packs} packs of {lot.lot_id}: it must be 1 or more.")
    if not isinstance(made, int) or made <= 0:
        raise BadInput(
            "packs",
            packs,
            f"The book does not know how many packs {lot.lot_id} has; take all of it, or a weight.",
        )
    there = round(loose * made / lot.mass_g)
    require(
        packs <= there,
        "packs",
        packs,
        f"{packs} packs of {lot.lot_id}: {there} are here and on none of the pallets.",
    )
    return loose if packs == there else round(packs * lot.mass_g / made)
