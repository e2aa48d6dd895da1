"""Ship lots to a customer whose market they are released for."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import lots_masses_and_packs


@click.command("ship")
@click.argument("customer")
@click.argument("lots", nargs=-1, metavar="[LOT[=MASS]...]")
@click.option("--pallet", "pallets", multiple=True, metavar="SSCC", help="A whole pallet.")
@click.option("--vehicle", default="", help="What carries it.")
@recorded(at="When it left; now when left out.", document="Number of the delivery note.")
@in_works(who=True)
def command(
    job: Job,
    customer: str,
    lots: tuple[str, ...],
    pallets: tuple[str, ...],
    vehicle: str,
    document: str,
    at: str | None,
    note: str,
) -> None:
    """Ship LOTS and pallets to CUSTOMER; MASS is how much of a lot, else all that remains.

    Of a packed lot MASS may be a count, such as '40 packs'.
    """
    from wareleaf.works.ship import ship

    weighed, packs = lots_masses_and_packs(lots)
    event = ship(
        job.works,
        job.who,
        customer,
        weighed,
        packs=packs,
        vehicle=vehicle,
        document=document,
        pallets=pallets,
        happened_at=job.at(at),
        note=note,
    )
    mass_g = sum(d.mass_g for d in event.inputs)
    lines = [
        f"{kg(mass_g)} kg shipped to {customer} ({event.facts['market']}).",
        next_step(f"trace {event.inputs[0].lot_id}"),
    ]
    job.say(event, lines)
