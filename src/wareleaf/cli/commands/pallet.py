"""Pallets: put packed lots on, take them off, find one by its number."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.works.pallets import Pallet


@click.group("pallet")
def command() -> None:
    """Pallets and what stands on them."""


@command.command("on")
@click.argument("lots", nargs=-1, required=True, metavar="LOT[=PACKS]...")
@click.option("--number", "sscc", default="", help="SSCC on its label; a new one when left out.")
@click.option("--place", default="", help="Where it stands.")
@recorded()
@in_works(who=True)
def on(
    job: Job, lots: tuple[str, ...], sscc: str, place: str, at: str | None, document: str, note: str
) -> None:
    """Put packed LOTS, or a count of packs of each, on a pallet."""
    from wareleaf.works.pallets import put_on

    pallet = put_on(
        job.works,
        job.who,
        _packs(lots),
        sscc=sscc,
        place=place,
        document=document,
        happened_at=job.at(at),
        note=note,
    )
    job.say(pallet, [*_lines(pallet), next_step(f"ship CUSTOMER --pallet {pallet.sscc}")])


@command.command("off")
@click.argument("sscc")
@click.argument("lots", nargs=-1, metavar="[LOT...]")
@recorded()
@in_works(who=True)
def off(
    job: Job, sscc: str, lots: tuple[str, ...], at: str | None, document: str, note: str
) -> None:
    """Take LOTS off the pallet SSCC; everything when none are named."""
    from wareleaf.works.pallets import take_off

    pallet = take_off(
        job.works, job.who, sscc, lots, document=document, happened_at=job.at(at), note=note
    )
    job.say(pallet, _lines(pallet))


@command.command("show")
@click.argument("sscc")
@in_works()
def show(job: Job, sscc: str) -> None:
    """What stands on the pallet SSCC, typed or scanned."""
    from wareleaf.works.pallets import pallet_of

    pallet = pallet_of(job.works, sscc)
    lines = _lines(pallet)
    if pallet.shipped is not None:
        customer = pallet.shipped.facts["customer"]
        lines.append(f"Shipped to {customer}, {job.show(pallet.shipped.happened_at)}.")
    job.say(pallet, lines)


@command.command("numbers")
@click.argument("prefix")
@in_works()
def numbers(job: Job, prefix: str) -> None:
    """Say the GS1 company PREFIX that new pallet numbers start with."""
    from wareleaf.works.pallets import set_numbers

    set_numbers(job.works, prefix)
    job.say({"prefix": prefix}, [f"New pallet numbers start with 0{prefix}."])


def _packs(texts: tuple[str, ...]) -> dict[str, int | None]:
    found: dict[str, int | None] = {}
    for text in texts:
        lot_id, equals, count = text.partition("=")
        if (equals and not count.isdigit()) or not lot_id or lot_id in found:
            raise BadInput("lots", text, f"{text!r}: give each lot once, as LOT or LOT=PACKS.")
        found[lot_id] = int(count) if equals else None
    return found


def _lines(pallet: Pallet) -> list[str]:
    lines = [f"Pallet {pallet.sscc}:"]
    lines += [f"  {lot.lot_id}  {kg(mass_g)} kg  {lot.label}" for lot, mass_g in pallet.on_it]
    return lines if pallet.on_it else [f"Pallet {pallet.sscc} is empty."]
