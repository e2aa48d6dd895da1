"""The money in moisture: where a dryer should aim for one leaf, by the works' own lots and prices.

The spread is that of the lots the dryer made in the last year where there are enough of them, else
the model's forecast of a usual charge at the usual settings. Which part of it comes from feed,
load, air or rate is the model's in both cases. What is not given is taken from the settings and the
book.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wareleaf import leaf as leaves
from wareleaf.measure.errors import BadInput
from wareleaf.stages import adviser, adviser_outlet, dry
from wareleaf.works.dryer_outlets import Outlets, outlets, usual_run
from wareleaf.works.house import Works
from wareleaf.works.moisture_limits import LimitChoice, choose, limit_choices
from wareleaf.works.outlet_spread import OutletSpread, outlet_spread
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class Wish:
    """What a manager may change; None takes the works' own figure.

    Parameters
    ----------
    limit_id : str
        Of a `LimitChoice`; the tightest promise when empty.
    limit_wb : float or None
        In place of it.
    risk : float
        Largest share of lots over the limit.
    price_per_kg, fuel_price_per_kg, dry_matter_kg_year, aim_in_use_wb : float or None
        Money in the works' currency.
    rework_cost_per_kg : float
        Of leaf over the limit.
    without_strays : bool
        Leave lots that lie far from the others out of the spread: their cause was found and mended.
    """

    limit_id: str = ""
    limit_wb: float | None = None
    risk: float = 0.05
    price_per_kg: float | None = None
    fuel_price_per_kg: float | None = None
    dry_matter_kg_year: float | None = None
    aim_in_use_wb: float | None = None
    rework_cost_per_kg: float = 0.0
    without_strays: bool = False


@dataclass(frozen=True)
class MoistureMoney:
    """Where to aim and what it is worth.

    Parameters
    ----------
    machine, leaf_id : Equipment, str
        What it is about.
    limits, limit : LimitChoice
        All there are, and the one that was taken.
    trade : adviser.Trade
        Prices and amounts that were taken.
    fuel_price_per_kg : float
        That was taken.
    advice : adviser.Advice
        The answer.
    from_book : bool
        Whether the spread is that of measured lots.
    spread_words : str
        Where the spread is from, one sentence.
    outlet_wb, strays_wb : tuple of float
        Lots of the last year, and those of them that lie far from the others.
    over_share : float or None
        Share of them over the limit; None without lots.
    aim_in_use_wb : float
        As given, else the lots' mean, else the leaf's target.
    keeps_limit : bool
        Whether the aim in use keeps the share over the limit at or below the risk.
    moving_saves : float
        What moving from it to the cheapest aim that keeps the limit saves in a year; below 0 it
        costs, because the aim in use does not keep it.
    curves : mapping of str to points
        Outlet moisture as it is, at the advised aim, and with half the spread.
    notes : tuple of str
        What else to know.
    """

    machine: Equipment
    leaf_id: str
    limits: tuple[LimitChoice, ...]
    limit: LimitChoice
    trade: adviser.Trade
    fuel_price_per_kg: float
    advice: adviser.Advice
    from_book: bool
    spread_words: str
    outlet_wb: tuple[float, ...]
    strays_wb: tuple[float, ...]
    over_share: float | None
    aim_in_use_wb: float
    keeps_limit: bool
    moving_saves: float
    curves: dict[str, tuple[tuple[float, float], ...]]
    notes: tuple[str, ...]


def dryers(works: Works, site_id: str) -> list[Equipment]:
    """Dryers of a site."""
    return [m for m in works.settings.equipment if m.site == site_id and m.stage == "dry"]


def leaves_of(works: Works, site_id: str) -> list[str]:
    """Leaf that a site's products are made of, in the order of the settings."""
    return list(dict.fromkeys(p.leaf for p in works.settings.product if p.site == site_id))


def usual_pair(works: Works, site_id: str) -> tuple[str, str]:
    """The dryer and the leaf of a site with the most measured lots; the first ones without any.

    Raises
    ------
    BadInput
        When the site has no dryer or no product.
    """
    pairs = [(m, leaf_id) for m in dryers(works, site_id) for leaf_id in leaves_of(works, site_id)]
    if not pairs:
        raise BadInput("site", site_id, f"The site {site_id} has no dryer or no product.")
    machine, leaf_id = max(pairs, key=lambda pair: len(outlets(works, *pair).outlet_wb))
    return machine.id, leaf_id


def moisture_money(
    works: Works, machine_id: str, leaf_id: str, wish: Wish | None = None
) -> MoistureMoney:
    """Where to aim, what over-drying costs in a year, and what less spread would save.

    Raises
    ------
    BadInput
        For a machine that does not dry, an unknown leaf or limit, prices or risks out of range, no
        dry matter to speak of, or a spread so wide that no aim keeps the limit.
    """
    wish = wish or Wish()
    machine = works.settings.equipment_of(machine_id)
    if machine.stage != "dry":
        known = ", ".join(m.id for m in dryers(works, machine.site)) or "none at this site"
        raise BadInput(
            "machine", machine_id, f"{machine.name} does not dry leaf; dryers are: {known}."
        )
    made = outlets(works, machine, leaf_id)
    dryer, run = usual_run(works, machine, leaf_id, made)
    choices = limit_choices(works, machine.site, leaf_id)
    limit = choose(choices, wish.limit_id, wish.limit_wb)
    usual = dry.simulate(dryer, run)
    spread = outlet_spread(leaf_id, made, dry.spread(dryer, run), wish.without_strays)
    fuel = wish.fuel_price_per_kg
    if fuel is None:
        fuel = works.settings.costs.fuel_per_kg
    trade = _trade(works, machine, leaf_id, wish, limit, made, usual, fuel)
    in_use = spread.mean_wb if wish.aim_in_use_wb is None else wish.aim_in_use_wb
    advice = adviser.advise(
        trade, spread.parts, wish.risk, lots_seen=spread.lots, aim_in_use_wb=in_use
    )
    assert advice.now_cost is not None
    return MoistureMoney(
        machine=machine,
        leaf_id=leaf_id,
        limits=choices,
        limit=limit,
        trade=trade,
        fuel_price_per_kg=fuel,
        advice=advice,
        from_book=spread.lots is not None,
        spread_words=spread.words,
        outlet_wb=made.outlet_wb,
        strays_wb=spread.strays_wb,
        over_share=_over(made.outlet_wb, limit.limit_wb),
        aim_in_use_wb=in_use,
        keeps_limit=advice.now_cost.share_over <= wish.risk,
        moving_saves=advice.now_cost.total - advice.cost.total,
        curves={
            "as it is": adviser_outlet.curve(in_use, spread.sd_wb),
            "at the advised aim": adviser_outlet.curve(advice.cheapest_aim_wb, spread.sd_wb),
            "with half the spread": adviser_outlet.curve(advice.halved_aim_wb, spread.sd_wb / 2.0),
        },
        notes=(
            *_notes_of_limit(limit, trade),
            *_notes_of_spread(made, wish, spread, advice.cheapest_aim_wb > in_use),
        ),
    )


def _over(outlet_wb: Sequence[float], limit_wb: float) -> float | None:
    if not outlet_wb:
        return None
    return sum(m > limit_wb for m in outlet_wb) / len(outlet_wb)


def _trade(
    works: Works,
    machine: Equipment,
    leaf_id: str,
    wish: Wish,
    limit: LimitChoice,
    made: Outlets,
    usual: dry.DryResult,
    fuel_price: float,
) -> adviser.Trade:
    products = [p for p in works.settings.product if p.leaf == leaf_id and p.site == machine.site]
    prices = {p.id: p.price_per_kg for p in products}
    price = wish.price_per_kg
    if price is None:
        price = prices.get(limit.id, min(prices.values(), default=0.0))
    dry_kg = made.dry_matter_kg if wish.dry_matter_kg_year is None else wish.dry_matter_kg_year
    if not dry_kg > 0.0:
        raise BadInput(
            "dry_matter_kg_year",
            dry_kg,
            f"The book has no {leaves.profile(leaf_id).name} from {machine.name} in the last year; "
            "give dry_matter_kg_year, the dry matter it makes in a year.",
        )
    return adviser.Trade(
        limit_wb=limit.limit_wb,
        price_per_kg=price,
        dry_matter_kg_year=dry_kg,
        heat_kwh_per_kg_water=usual.heat_mj_per_kg_water / adviser.MEGAJOULES_PER_KWH,
        heat_price_per_kwh=_heat_price(works, usual, fuel_price),
        rework_cost_per_kg=wish.rework_cost_per_kg,
    )


def _heat_price(works: Works, usual: dry.DryResult, fuel_price: float) -> float:
    """What a kWh of heat costs as this dryer makes it: its fuel, and its electricity for heat."""
    if not usual.heat_kwh > 0.0:
        return 0.0
    made = usual.supply
    electric = (made.compressor_kwh + made.electric_kwh) * works.settings.costs.electricity_per_kwh
    return (usual.fuel_kg * fuel_price + electric) / usual.heat_kwh


def _notes_of_limit(limit: LimitChoice, trade: adviser.Trade) -> tuple[str, ...]:
    said = [] if limit.confirmed else [adviser.UNCONFIRMED]
    if trade.price_per_kg == 0.0:
        said.append("No product of this leaf has a price; give one, or weight costs nothing here.")
    return tuple(said)


def _notes_of_spread(
    made: Outlets, wish: Wish, spread: OutletSpread, wetter: bool
) -> tuple[str, ...]:
    said = []
    if spread.strays_wb and not wish.without_strays:
        said.append(
            f"Far from the others and widening the spread: {len(spread.strays_wb)} of the lots. "
            "Find out why; where the cause was mended, leave them out."
        )
    if wetter:
        said.append(
            "Leaf that is packed wetter keeps for a shorter time, and it takes up water before "
            "it is packed: look at the shelf life of the pack and at the moisture there before "
            "you move."
        )
    if wish.dry_matter_kg_year is None:
        said.append(
            f"The year is what the book has: {made.dry_matter_kg:,.0f} kg of dry matter in the "
            "last 365 days. Give your own figure where the book is younger than that."
        )
    said.append(
        "Heat is counted at the mean of a usual run; the last water is often dearer, so heat is on "
        "the low side."
    )
    if spread.lots is not None:
        said.append(
            "Which part of the spread comes from what is the model's view, scaled to the lots."
        )
    return tuple(said)
