"""Pallets of the demo, what customers send back, and what becomes of it."""

from __future__ import annotations

from datetime import date

from wareleaf.book import Event, LotState
from wareleaf.works import handle_lot, pallets
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.lab_days import LAB, QUALITY
from wareleaf.works.demo.season import YARDS, Season
from wareleaf.works.demo.truth import Chance
from wareleaf.works.destroy import destroy
from wareleaf.works.returns import receive_back
from wareleaf.works.rework import Part, rework

PACKER = "jorun"
COMPANY_PREFIX = "9521047"
"""952 is GS1's prefix for examples (from memory); the rest is invented."""

RETURN_DAYS_AGO = {"kelp": 2, "tea": 1}
RETURNED_PACKS = {"kelp": 40, "tea": 16}
SETTLED_DAYS = 4  # a shipment this old is unpacked at the customer's
LOST_IN_REWORK = 0.02  # of the leaf, swept up with the opened packs; invented


def number_pallets(season: Season) -> None:
    """Say once under which prefix pallet numbers are made."""
    pallets.set_numbers(season.works, COMPANY_PREFIX)


def stack(season: Season, lot_ids: list[str], packs: int | None = None) -> str:
    """Put packed lots on a new pallet, whole or some packs of each; returns its number."""
    stacked = pallets.put_on(season.works, PACKER, dict.fromkeys(lot_ids, packs))
    return stacked.sscc


def unstack(season: Season, sscc: str, lot_id: str) -> None:
    """Take a lot off a pallet again."""
    pallets.take_off(season.works, PACKER, sscc, [lot_id], note="goes with another van")


def returns(season: Season, site: str, day: date) -> Doing:
    """Some packs of an earlier shipment come back: opened again, or destroyed."""
    chance = season.chance("returns", site, day)
    yield season.at(day, 13.2 + chance.minutes(0.0, 40.0))
    ship = _to_come_back(season, site)
    if ship is None:
        return
    if site == "kelp":
        back = _received(season, ship, "seams of some packs let go in the carton", chance)
        yield season.next_workday(1, 8.6)
        yield from _opened(season, back, chance)
    else:
        back = _received(season, ship, "cartons soaked by rain on the way", chance)
        yield season.now + hours(2.0 + chance.minutes(0.0, 30.0))
        _destroyed(season, back)


def _to_come_back(season: Season, site: str) -> Event | None:
    """A shipment that has been unpacked by now, else the latest one."""
    ships = season.works.book.events_in_force(kind="ship", site=site)
    old = [e for e in ships if e.happened_at < season.now - hours(24.0 * SETTLED_DAYS)]
    found = old or ships
    return found[-1] if found else None


def _received(season: Season, ship: Event, because: str, chance: Chance) -> LotState:
    sent = season.works.book.lot(ship.inputs[0].lot_id)
    packs, site = RETURNED_PACKS[sent.site], YARDS[sent.site]
    truth = season.leaves[sent.lot_id]
    leaf = truth.part(truth.mass_kg * packs / int(str(sent.attributes["packs"])))
    seen = season.meters.read(site.fine_scale, leaf.mass_kg, chance, season.now)
    (back,) = receive_back(
        season.works,
        PACKER,
        str(ship.facts["customer"]),
        {sent.lot_id: seen},
        because,
        meter=site.fine_scale,
        document=f"R{season.now:%m%d}/{ship.document}",
    )
    season.leaves[back.lot_id] = leaf
    return back


def _opened(season: Season, back: LotState, chance: Chance) -> Doing:
    """Packs opened back to loose leaf, which quality looks at before it is used again."""
    yard, leaf = YARDS[back.site], season.leaves[back.lot_id]
    loose = leaf.part(leaf.mass_kg * (1.0 - LOST_IN_REWORK))
    seen = season.meters.read(yard.fine_scale, loose.mass_kg, chance, season.now)
    seen = min(seen, back.mass_g / 1000.0)  # more out than in is weighed again
    form = season.works.settings.product_of(str(back.attributes["product"])).form
    (made,) = rework(
        season.works,
        PACKER,
        {back.lot_id: None},
        [Part(seen, form, "store")],
        "packs opened, film to waste",
        waste_kg=max(round(back.mass_g / 1000.0 - seen, 2), 0.0),
        meter=yard.fine_scale,
    )
    season.leaves[made.lot_id] = loose
    yield season.now + hours(5.0 + chance.minutes(0.0, 40.0))
    season.read(LAB, yard.balance, loose.moisture_wb, chance, lot_id=made.lot_id)
    yield season.now + hours(0.5)
    handle_lot.free(season.works, QUALITY, made.lot_id, "dry and clean: may be packed again")


def _destroyed(season: Season, back: LotState) -> None:
    destroy(
        season.works,
        QUALITY,
        back.lot_id,
        None,
        method="composted at Ummerdale, film cut up",
        witness="Orrin Dace, estate office",
        document=f"DW{season.now:%m%d}",
        reason="wet cartons, packs not tight",
    )
