"""Blend lots in store: propose the cheapest draws for an order, then record what was drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, kg, next_step, percent, table
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import lots_and_masses, number
from wareleaf.measure.errors import BadInput
from wareleaf.measure.units import parse_mass_kg, parse_percent

if TYPE_CHECKING:
    from wareleaf.works.blend_order import Limit, Proposal


@click.group("blend")
def command() -> None:
    """Blend lots in store for an order."""


@command.command("propose")
@click.argument("product")
@click.argument("mass")
@click.option("--customer", default="", help="Customer id; says the market.")
@click.option(
    "--most",
    nargs=2,
    multiple=True,
    metavar="PROPERTY VALUE",
    help="Highest moisture_wb in %, or mg of a parameter per kg dry matter, or grade:NAME in %.",
)
@click.option(
    "--least", nargs=2, multiple=True, metavar="PROPERTY VALUE", help="Lowest, in the same units."
)
@click.option("--max-lots", type=click.IntRange(1), help="Most lots to draw from.")
@click.option("--min-draw", help="Smallest draw from a lot, kg.")
@click.option("--order", "order_id", default="order", help="What the order is called.")
@in_works()
def propose_one(
    job: Job,
    product: str,
    mass: str,
    customer: str,
    most: tuple[tuple[str, str], ...],
    least: tuple[tuple[str, str], ...],
    max_lots: int | None,
    min_draw: str | None,
    order_id: str,
) -> None:
    """Say which lots to draw for MASS of PRODUCT at least cost. Nothing is recorded."""
    from wareleaf.works.blend_order import Order, propose

    order = Order(
        order_id=order_id,
        product_id=product,
        mass_kg=parse_mass_kg(mass, "mass_kg"),
        customer_id=customer,
        limits=_limits(most, least),
        max_lots=max_lots,
        min_draw_kg=None if min_draw is None else parse_mass_kg(min_draw, "min_draw_kg"),
    )
    found = propose(job.works, [order])
    job.say(found, _lines(found, product))


def _limits(
    most: tuple[tuple[str, str], ...], least: tuple[tuple[str, str], ...]
) -> dict[str, Limit]:
    from wareleaf.works.blend_order import Limit

    highest = {name: _value(name, text) for name, text in most}
    lowest = {name: _value(name, text) for name, text in least}
    return {n: Limit(lowest.get(n), highest.get(n)) for n in dict.fromkeys((*highest, *lowest))}


def _value(name: str, text: str) -> float:
    if name == "moisture_wb" or name.startswith("grade:"):
        return parse_percent(text, name)
    return number(text, name)


def _lines(found: Proposal, product: str) -> list[str]:
    lines = []
    for order in found.orders:
        rows = [
            (
                d.lot_id,
                f"{d.mass_kg:,.3f}",
                f"{d.cost_per_kg:.2f}",
                "" if d.released else "not released for the buyer",
            )
            for d in order.draws
        ]
        lines += table(("lot", "kg", "cost/kg", ""), rows) if rows else []
        for p in order.properties:
            share = p.name == "moisture_wb" or p.name.startswith("grade:")
            value = percent(p.value) if share else f"{p.value:.4g}"
            doubt = percent(p.standard_uncertainty) if share else f"{p.standard_uncertainty:.2g}"
            chance = "" if p.chance is None else f", keeps its limits with {percent(p.chance)}"
            lines.append(f"{p.name}: {value} (± {doubt}){chance}")
        lines += order.sentences
    lines += found.conflicts
    if found.cost is not None and found.bound is not None:
        lines.append(f"Cost {found.cost:.2f}, proved at least {found.bound:.2f}. {found.standing}")
    lines += [*found.left_out, *found.notes]
    draws = [f"{d.lot_id}={d.mass_kg:.3f}" for order in found.orders for d in order.draws]
    if draws:
        lines.append(next_step(f"blend make {' '.join(draws)} --product {product}"))
    return lines


@command.command("make")
@click.argument("lots", nargs=-1, required=True, metavar="LOT=MASS...")
@click.option("--product", default="", help="Product it is for.")
@click.option("--order", "order_id", default="", help="Order it is for.")
@click.option("--place", default="store", show_default=True, help="Where it goes.")
@click.option("--label", default="", help="What people call it.")
@recorded()
@in_works(who=True)
def make(
    job: Job,
    lots: tuple[str, ...],
    product: str,
    order_id: str,
    place: str,
    label: str,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Record what was really drawn of each of LOTS, by weight; the blend is a new lot."""
    from wareleaf.works.blend_order import make_blend

    draws: dict[str, float] = {}
    for lot_id, mass in lots_and_masses(lots).items():
        if mass is None:
            raise BadInput("lot", lot_id, f"Say how much of {lot_id} was drawn: {lot_id}=12.5")
        draws[lot_id] = mass
    lot = make_blend(
        job.works,
        job.who,
        draws,
        product_id=product,
        order_id=order_id,
        place=place,
        label=label,
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [
        f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg at {percent(lot.moisture_wb)}.",
        "A blend takes no release over: sample it and release it anew.",
        next_step(f"sample {lot.lot_id} MASS"),
    ]
    job.say({"lot": lot}, lines)
