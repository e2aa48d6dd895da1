"""Bins and silos: what lies in them, put lots in, take a weight out."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step
from wareleaf.cli.options import recorded
from wareleaf.measure.units import parse_mass_kg


@click.group("room")
def command() -> None:
    """Bins and silos in which leaf mixes: look, put lots in, take leaf out."""


@command.command("show")
@click.argument("site")
@in_works()
def show(job: Job, site: str) -> None:
    """What lies in the rooms of SITE."""
    from wareleaf.works.room_view import rooms

    found = rooms(job.works, job.works.settings.site_of(site).id)
    lines = []
    for view in found:
        lines.append(f"{view.room.name} ({view.room.id}): {view.mass_kg:.1f} kg; {view.words}.")
        lines += [f"  {lot.lot_id}  {kg(lot.remaining_mass_g)} kg" for lot in view.lots]
        if view.tail_kg:
            lines.append(f"  A lot counts as out after {view.tail_kg:.0f} kg more went through.")
    job.say({"rooms": found}, lines or [f"The settings name no room at {site}."])


@command.command("put")
@click.argument("room_id", metavar="ROOM")
@click.argument("lot_ids", metavar="LOTS", nargs=-1, required=True)
@recorded()
@in_works(who=True)
def put(
    job: Job, room_id: str, lot_ids: tuple[str, ...], at: str | None, document: str, note: str
) -> None:
    """Tip all that remains of LOTS into ROOM."""
    from wareleaf.works.rooms import put_in

    view = put_in(
        job.works, job.who, room_id, lot_ids, happened_at=job.at(at), document=document, note=note
    )
    job.say({"room": view}, [f"{view.room.name} holds {view.mass_kg:.1f} kg."])


@command.command("take")
@click.argument("room_id", metavar="ROOM")
@click.argument("mass")
@click.option("--scale", required=True, help="Meter id of the scale.")
@click.option("--place", default="floor", show_default=True, help="Where it goes.")
@click.option("--label", default="", help="What people call it.")
@recorded()
@in_works(who=True)
def take(
    job: Job,
    room_id: str,
    mass: str,
    scale: str,
    place: str,
    label: str,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Take MASS out of ROOM: a new lot, made of what the room's rule says."""
    from wareleaf.works.rooms import take_out

    lot = take_out(
        job.works,
        job.who,
        room_id,
        parse_mass_kg(mass, "mass_kg"),
        scale,
        place=place,
        label=label,
        happened_at=job.at(at),
        document=document,
        note=note,
    )
    lines = [f"Lot {lot.lot_id}: {kg(lot.mass_g)} kg.", next_step(f"trace {lot.lot_id}")]
    job.say({"lot": lot}, lines)
