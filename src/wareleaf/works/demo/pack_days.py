"""Packing days and shipments of the demo."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from wareleaf.book import LotState
from wareleaf.pack import plan_for
from wareleaf.works import pack_lot, ship
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.goods_days import PACKER, stack, unstack
from wareleaf.works.demo.season import SUNDAY, YARDS, Season
from wareleaf.works.demo.truth import Chance, together
from wareleaf.works.settings import Product

PACKING_DAYS = {"kelp": (1, 4), "tea": (1, 3)}
BALANCE = {"kelp": "kelp-pack-balance", "tea": "tea-pack-balance"}
CUSTOMERS = {"kelp": ("merrow", "quillby", "southrim"), "tea": ("tarn-house",)}
# How packs scatter and how far above the nominal the bench is set, share of the nominal; invented.
FILL_SD = 0.004
FILL_ABOVE = 0.003
LEAST_PACKS = 100
FULL_BATCH_KG = 220.0
# Packs that stay on a pallet for the next van.
KEPT_BACK_DAYS_AGO, KEPT_BACK_PACKS = (1,), 24


def packing(season: Season, site: str, day: date) -> Doing:
    """Pack what is released, product by product, and send it off in the afternoon."""
    chance = season.chance("packing", site, day)
    yield season.at(day, 9.2 + chance.minutes(0.0, 30.0))
    settings = season.works.settings
    packed: list[str] = []
    for product in (p for p in settings.product if p.site == site):
        lots = _ready(season, product)
        if sum(season.leaves[lot.lot_id].mass_kg for lot in lots) * 1000.0 < (
            LEAST_PACKS * product.nominal_g
        ):
            continue
        made = _pack(season, product, lots, chance)
        packed.append(made)
        rate = settings.equipment_of("pack-k" if site == "kelp" else "pack-t").rate_kg_h or 60.0
        yield season.now + hours(season.leaves[made].mass_kg / rate)
    if packed:
        yield max(season.at(day, 15.4), season.now + hours(0.5))
        _send(season, site, _customers(season, site, packed, day))


def _ready(season: Season, product: Product) -> list[LotState]:
    """Released lots of a product that may go to the same markets, oldest first, one batch full."""
    stock = season.works.book.lots(site=product.site, form=product.form, status="released")
    mine = [
        lot
        for lot in stock
        if lot.attributes.get("product") == product.id and lot.leaf == product.leaf
    ]
    chosen: list[LotState] = []
    mass_kg = 0.0
    for lot in mine:
        if lot.released_for == mine[0].released_for and mass_kg < FULL_BATCH_KG:
            chosen.append(lot)
            mass_kg += lot.remaining_mass_g / 1000.0
    return chosen


def _pack(season: Season, product: Product, lots: list[LotState], chance: Chance) -> str:
    """One run at the bench."""
    leaf = together([season.leaves[lot.lot_id] for lot in lots])
    faults = season.faults
    mean_g = product.nominal_g * (1.0 + FILL_ABOVE)
    here = season.days_ago(season.now.date()) == faults.short_pack and product.site == "kelp"
    if here and "short_pack" not in season.done:
        season.done.add("short_pack")
        mean_g = product.nominal_g * (1.0 - faults.short_pack_share)
    packs = int(leaf.mass_kg * 1000.0 * 0.997 / mean_g)
    plan = plan_for(packs)
    weighed = packs if plan is None else max(plan.n_mean, plan.n1)
    balance, yard = BALANCE[product.site], YARDS[product.site]
    sd_g = FILL_SD * product.nominal_g
    net_g = [
        season.meters.read(balance, chance.normal(mean_g, sd_g), chance, season.now)
        for _ in range(weighed)
    ]
    filled = leaf.part(packs * mean_g / 1000.0)
    spill = leaf.mass_kg - filled.mass_kg
    run = pack_lot.PackRun(
        product_id=product.id,
        lots_kg=dict.fromkeys((lot.lot_id for lot in lots), None),
        packs=packs,
        net_g=net_g,
        scale=balance,
        spill_kg=season.meters.read(yard.fine_scale, spill, chance, season.now),
    )
    document = f"P{season.now:%m%d}-{product.id}"
    made = pack_lot.pack(season.works, PACKER, run, document=document)
    season.leaves[made.lot_id] = filled
    return made.lot_id


@dataclass(frozen=True)
class Order:
    """A packed lot and the customer that it goes to, by which van, on which paper."""

    lot_id: str
    customer: str
    vehicle: str
    document: str


def _customers(season: Season, site: str, packed: list[str], day: date) -> list[Order]:
    """Each packed lot goes to a customer whose market it is released for, in turn."""
    settings, orders = season.works.settings, []
    for number, lot_id in enumerate(packed):
        lot = season.works.book.lot(lot_id)
        if lot.held_because:
            continue
        turn = day.toordinal() + number
        names = CUSTOMERS[site]
        for step in range(len(names)):
            customer = settings.customer_of(names[(turn + step) % len(names)])
            if customer.market in lot.released_for:
                document = f"D{season.now:%m%d}{number + 1}"
                orders.append(Order(lot_id, customer.id, f"van {1 + turn % 3}", document))
                break
    return orders


def _send(season: Season, site: str, orders: list[Order]) -> None:
    """Kelp leaves on pallets, one an order; tea in loose cartons, what is kept back on a pallet."""
    shared = ""
    if site == "kelp" and len({o.customer for o in orders}) > 1 and "restacked" not in season.done:
        season.done.add("restacked")  # stacked as one, then found to be of two customers
        shared = stack(season, [o.lot_id for o in orders])
        for order in orders[1:]:
            unstack(season, shared, order.lot_id)
    for number, order in enumerate(orders):
        loose: dict[str, float | None] = {order.lot_id: None}
        on: list[str] = []
        if site == "kelp":
            loose, on = {}, [shared if shared and not number else stack(season, [order.lot_id])]
        elif season.days_ago(season.now.date()) in KEPT_BACK_DAYS_AGO:
            stack(season, [order.lot_id], KEPT_BACK_PACKS)
            loose = {order.lot_id: season.works.book.lot(order.lot_id).loose_g / 1000.0}
        ship.ship(
            season.works,
            PACKER,
            order.customer,
            loose,
            vehicle=order.vehicle,
            document=order.document,
            pallets=on,
        )


def packs_today(site: str, day: date) -> bool:
    """Whether a site packs on a day."""
    return day.weekday() != SUNDAY and day.weekday() in PACKING_DAYS[site]
