"""Put lots on a machine and start a run."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import settings_of


@click.command("start")
@click.argument("machine")
@click.argument("lots", nargs=-1, required=True)
@click.option("--set", "pairs", multiple=True, metavar="NAME=VALUE", help="A setting; repeat it.")
@click.option("--aim", "aimed", is_flag=True, help="Find settings that land it on target first.")
@recorded(at="When it started; now when left out.")
@in_works(who=True)
def command(
    job: Job,
    machine: str,
    lots: tuple[str, ...],
    pairs: tuple[str, ...],
    aimed: bool,
    at: str | None,
    document: str,
    note: str,
) -> None:
    """Put LOTS on MACHINE, both by id, and start.

    `wareleaf predict MACHINE LOTS` looks ahead without starting.
    """
    from wareleaf.works.floor import run_view
    from wareleaf.works.predict import aim
    from wareleaf.works.run_stage import start_run

    works = job.works
    equipment = works.settings.equipment_of(machine)
    chosen, said, start = settings_of(equipment, pairs), [], job.at(at) or works.now()
    if aimed:
        states = [works.book.lot(lot_id) for lot_id in lots]
        chosen, sentence, _ = aim(works, equipment, states, chosen, start)
        said.append(sentence)
    run_id = start_run(
        works, job.who, machine, lots, chosen, happened_at=start, document=document, note=note
    )
    view = run_view(works, run_id)
    said.append(f"Run {run_id} on {equipment.name} started.")
    if view.finish_at is not None and view.finish_sd is not None:
        spread = view.finish_sd.total_seconds() / 60.0
        said.append(f"Take it off at about {job.show(view.finish_at)} (± {spread:.0f} min).")
    said += [view.trouble] if view.trouble else []
    said.append(next_step(f"reading {run_id} METER VALUE, then: wareleaf finish {run_id}"))
    data = {"run_id": run_id, "settings": chosen, "finish_at": view.finish_at}
    job.say(data, said)
