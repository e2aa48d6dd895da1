"""Everything the book says of one lot."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, kg, next_step, percent


@click.command("lot")
@click.argument("lot_id", metavar="LOT")
@in_works()
def command(job: Job, lot_id: str) -> None:
    """Show LOT: where it came from, what was done and measured, where it can go next."""
    from wareleaf.works.lot_history import lot_history

    seen = lot_history(job.works, lot_id)
    lot = seen.lot
    lines = [
        f"{lot.lot_id}  {lot.label}: {lot.leaf}, {lot.form}, {lot.status}, at {lot.place}",
        f"  made {job.show(lot.made_at)}: {kg(lot.mass_g)} kg at {percent(lot.moisture_wb)} "
        f"(± {percent(seen.moisture_sd)}); left {kg(lot.remaining_mass_g)} kg",
    ]
    if lot.held_because:
        lines.append(f"  on hold: {lot.held_because}")
    if lot.released_for:
        lines.append(f"  released for {', '.join(lot.released_for)}")
    lines += [f"  from {o.name}: {percent(o.share)}, {o.dry_kg:.1f} kg dry" for o in seen.origins]
    lines += [
        f"  {r.parameter} {r.value:g} {r.unit} (± {r.standard_uncertainty:.2g}, {r.basis}) "
        f"on {on}, {r.reference}"
        for on, r, _ in seen.results
    ]
    for row in seen.events:
        event = row.event
        mark = f" (corrected by {row.superseded_by})" if row.superseded_by else ""
        lines.append(
            f"  {job.show(event.happened_at)}  {event.kind:15} {event.who}  {event.event_id}{mark}"
        )
    lines += [f"  {said}" for said in seen.rests_on]
    if seen.machines:
        lines.append(next_step(f"start {seen.machines[0].id} {lot.lot_id}"))
    job.say(seen, lines)
