"""Look ahead: what a run will give, before it starts or while it goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, next_step, percent
from wareleaf.cli.typed import settings_of
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.works.predict import Prediction


@click.command("predict")
@click.argument("subject", metavar="MACHINE|RUN")
@click.argument("lots", nargs=-1)
@click.option("--set", "pairs", multiple=True, metavar="NAME=VALUE", help="A setting; repeat it.")
@click.option("--aim", "aimed", is_flag=True, help="Find settings that land it on target.")
@click.option("--at", help="When it would start; now when left out.")
@in_works()
def command(
    job: Job,
    subject: str,
    lots: tuple[str, ...],
    pairs: tuple[str, ...],
    aimed: bool,
    at: str | None,
) -> None:
    """Predict LOTS on MACHINE, or a RUN that is going, from its readings. Nothing is recorded."""
    if subject.startswith("R-"):
        _of_run(job, subject)
        return
    from wareleaf.works.predict import aim, predict

    machine = job.works.settings.equipment_of(subject)
    if not lots:
        raise BadInput("lots", None, f"Name the lots to put on {machine.name}.")
    states = [job.works.book.lot(lot_id) for lot_id in lots]
    start = job.at(at) or job.works.now()
    chosen, said = settings_of(machine, pairs), []
    if aimed:
        chosen, sentence, reachable = aim(job.works, machine, states, chosen, start)
        said.append(sentence if reachable else f"Not reachable: {sentence}")
        said += [f"  {name} = {value:.4g}" for name, value in chosen.items()]
    found = predict(job.works, machine, states, chosen, start)
    said += [*_lines(found), next_step(f"start {subject} {' '.join(lots)}")]
    job.say({"settings": chosen, "prediction": found}, said)


def _of_run(job: Job, run_id: str) -> None:
    from wareleaf.works.floor import run_view

    view = run_view(job.works, run_id)
    said = [view.trouble] if view.trouble else []
    if view.finish_at is not None and view.finish_sd is not None:
        minutes = view.finish_sd.total_seconds() / 60.0
        said.append(f"There at about {job.show(view.finish_at)} (± {minutes:.0f} min).")
    if view.prediction is not None:
        said += _lines(view.prediction)
    elif not said:
        said.append("The run is finished.")
    data = {"run": view.run, "finish_at": view.finish_at, "prediction": view.prediction}
    job.say(data, said)


def _lines(found: Prediction) -> list[str]:
    lines = [
        f"{found.duration_h:.2f} h (± {found.duration_sd_h:.2f} h), {found.mass_out_kg:.1f} kg "
        f"off at {percent(found.moisture_wb_out)} (± {percent(found.moisture_wb_out_sd)}).",
        f"Heat {found.heat_kwh:.1f} kWh, power {found.electricity_kwh:.1f} kWh, fuel "
        f"{found.fuel_kg:.1f} kg.",
    ]
    if found.leaf_temperature_max_c is not None:
        lines.append(f"Hottest leaf {found.leaf_temperature_max_c:.1f} °C.")
    return [*lines, *([found.advice] if found.advice else []), *found.warnings]
