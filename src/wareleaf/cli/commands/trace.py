"""Trace a lot back to its lines and fields and forward to its customers."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step, percent


@click.command("trace")
@click.argument("lot_id", metavar="LOT")
@click.option("--as-known", help="Answer as it was known at this time.")
@in_works()
def command(job: Job, lot_id: str, as_known: str | None) -> None:
    """Trace LOT both ways, with shares by dry matter."""
    from wareleaf.works.room_view import rooms_passed
    from wareleaf.works.sight import sight
    from wareleaf.works.touching import touches_said
    from wareleaf.works.trace_lot import trace
    from wareleaf.works.whereabouts import whereabouts

    view = trace(job.works, lot_id, job.at(as_known, "as_known"))
    now = whereabouts(view)
    lines = [f"As known on {job.show(view.known_at)}."] if view.known_at else []
    lines.append(f"{lot_id} came from:")
    lines += [
        f"  {o.name} ({o.source_id}): {percent(o.share)}, {o.dry_kg:.2f} kg dry matter; intake "
        f"{', '.join(o.lots)}"
        for o in view.origins
    ]
    lines.append("It went to:")
    lines += [
        f"  {r.customer} ({r.market}), {job.show(r.shipped_at)}: {r.mass_kg:g} kg of {r.lot_id}"
        + (f" ({r.returned_kg:g} kg came back, {r.net_kg:g} kg left)" if r.returned_kg else "")
        + f", {r.dry_from_lot_kg:.2f} kg dry matter of this lot; {r.contact}"
        for r in view.receipts
    ]
    lines += [
        f"  in stock: {lot.lot_id}, {lot.place}, {kg(lot.remaining_mass_g)} kg, {percent(share)}"
        for lot, share in view.in_stock
    ]
    lines.append(
        f"Dry matter {now.made_kg:.2f} kg: {now.in_stock_kg:.2f} in stock, {now.shipped_kg:.2f} "
        f"shipped, {now.gone_kg:.2f} gone on the way."
    )
    passed = rooms_passed(job.works, view.lots.values())
    touched = touches_said(sight(job.works, view.known_at), view.lots)
    lines += [f"Mixed on the way: {words}" for words in (*touched, *passed)]
    lines.append(next_step(f"dossier {lot_id}"))
    job.say({"trace": view, "whereabouts": now, "rooms": passed, "touches": touched}, lines)
