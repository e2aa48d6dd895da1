"""Where to aim outlet moisture, and what it is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, percent, table
from wareleaf.cli.typed import number
from wareleaf.measure.units import parse_percent

if TYPE_CHECKING:
    from wareleaf.works.moisture_money import MoistureMoney


@click.command("adviser")
@click.argument("machine")
@click.argument("leaf")
@click.option("--limit", "limit_id", default="", help="Which limit; the tightest promise else.")
@click.option("--limit-at", help="A limit in % wet basis, in place of --limit.")
@click.option("--risk", default="5 %", show_default=True, help="Lots over the limit at most.")
@click.option("--price", help="Price of a kg of made leaf.")
@click.option("--fuel-price", help="Price of a kg of fuel.")
@click.option("--dry-kg-year", help="Dry matter through it in a year, kg.")
@click.option("--aim-in-use", help="Moisture aimed at now, %; the lots' mean when left out.")
@click.option("--rework", default="0", help="What a kg over the limit costs.")
@click.option("--without-strays", is_flag=True, help="Leave out lots far from the others.")
@in_works()
def command(
    job: Job,
    machine: str,
    leaf: str,
    limit_id: str,
    limit_at: str | None,
    risk: str,
    price: str | None,
    fuel_price: str | None,
    dry_kg_year: str | None,
    aim_in_use: str | None,
    rework: str,
    without_strays: bool,
) -> None:
    """Say where MACHINE should aim for LEAF, and what that is worth. Nothing is recorded."""
    from wareleaf.works.moisture_money import Wish, moisture_money

    wish = Wish(
        limit_id=limit_id,
        limit_wb=None if limit_at is None else parse_percent(limit_at, "limit_at"),
        risk=parse_percent(risk, "risk"),
        price_per_kg=None if price is None else number(price, "price"),
        fuel_price_per_kg=None if fuel_price is None else number(fuel_price, "fuel_price"),
        dry_matter_kg_year=None if dry_kg_year is None else number(dry_kg_year, "dry_kg_year"),
        aim_in_use_wb=None if aim_in_use is None else parse_percent(aim_in_use, "aim_in_use"),
        rework_cost_per_kg=number(rework, "rework"),
        without_strays=without_strays,
    )
    found = moisture_money(job.works, machine, leaf, wish)
    job.say(found, _lines(found, job.works.settings.firm.currency))


def _lines(found: MoistureMoney, currency: str) -> list[str]:
    advice = found.advice
    costs = (
        ("as it is", found.aim_in_use_wb, advice.now_cost),
        ("advised", advice.cheapest_aim_wb, advice.cost),
        ("half the spread", advice.halved_aim_wb, advice.halved_cost),
    )
    rows = [
        [
            name,
            percent(at),
            percent(cost.share_over),
            f"{cost.weight_given_kg:,.1f} kg",
            f"{cost.total:,.0f} {currency}",
        ]
        for name, at, cost in costs
        if cost is not None
    ]
    return [
        f"Limit {percent(found.limit.limit_wb)} ({found.limit.words}).",
        advice.reason,
        found.spread_words,
        "",
        *table(("aim", "moisture", "lots over", "given away", "a year"), rows),
        "",
        *(f"Half the spread from {n}: {s:,.0f} {currency} a year." for n, s in advice.part_savings),
        *found.notes,
        *advice.warnings,
    ]
