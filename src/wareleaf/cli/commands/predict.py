"""Look ahead: what a run will give, before it starts or while it goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, next_step, percent
from wareleaf.cli.typed import settings_of
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.stages.quality import Quality
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
    from wareleaf.works.predict import aim, leaf_heat, look_ahead

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
    found = look_ahead(job.works, machine, states, chosen, start)
    heat = leaf_heat(job.works, machine, states, chosen, start)
    said += [*_lines(found, heat), next_step(f"start {subject} {' '.join(lots)}")]
    job.say({"settings": chosen, "prediction": found, "heat": heat}, said)


def _of_run(job: Job, run_id: str) -> None:
    from wareleaf.works.floor import heat_of, run_view

    view = run_view(job.works, run_id)
    heat = heat_of(job.works, view)
    said = [view.trouble] if view.trouble else []
    if view.finish_at is not None and view.finish_sd is not None:
        minutes = view.finish_sd.total_seconds() / 60.0
        said.append(f"There at about {job.show(view.finish_at)} (± {minutes:.0f} min).")
    if view.prediction is not None:
        said += _lines(view.prediction, heat)
    elif not said:
        said.append("The run is finished.")
    seen = {"run": view.run, "finish_at": view.finish_at, "prediction": view.prediction}
    job.say({**seen, "heat": heat}, said)


def _lines(found: Prediction, heat: Quality | None) -> list[str]:
    lines = [
        f"{found.duration_h:.2f} h (± {found.duration_sd_h:.2f} h), {found.mass_out_kg:.1f} kg "
        f"off at {percent(found.moisture_wb_out)} (± {percent(found.moisture_wb_out_sd)}).",
        f"Heat {found.heat_kwh:.1f} kWh, power {found.electricity_kwh:.1f} kWh, fuel "
        f"{found.fuel_kg:.1f} kg.",
    ]
    if found.leaf_temperature_max_c is not None:
        lines.append(f"Hottest leaf {found.leaf_temperature_max_c:.1f} °C.")
    lines += [*([found.advice] if found.advice else []), *found.warnings]
    return lines if heat is None else [*lines, *_heat_lines(found, heat)]


def _heat_lines(found: Prediction, heat: Quality) -> list[str]:
    lines = [f"Limit of the leaf {heat.limit_c:g} °C [{heat.limit_evidence}]."]
    for row in heat.kept:
        if row.kept is None or row.low is None or row.high is None:
            lines.append(row.note)
        else:
            lines.append(
                f"{row.name}: {percent(row.kept)} kept ({percent(row.low)} to "
                f"{percent(row.high)}). {row.note}"
            )
    return [*lines, *(w for w in heat.warnings if w not in found.warnings)]
