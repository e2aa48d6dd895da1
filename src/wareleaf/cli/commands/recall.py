"""Find every lot a fault reached, who received it and whether it adds up; hold it, or drill."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wareleaf.cli.common import Job, check_who, in_works, kg, next_step, percent, table, write_file
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.works.recall import Recall
    from wareleaf.works.recall_fault import Fault, FaultKind

# Options that name a fault, and the kind of fault each names.
_KINDS: Mapping[str, FaultKind] = {
    "lot": "lot",
    "site": "source",
    "supplier": "source",
    "bath": "machine",
    "machine": "machine",
    "meter": "meter",
    "kit": "laboratory",
    "film": "film",
}
_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("recall")
@click.option("--lot", help="The lot at fault.")
@click.option("--site", help="A line, a field or a whole site: its id or name.")
@click.option("--supplier", help="A grower.")
@click.option("--bath", help="Machine id of a bath.")
@click.option("--machine", help="Machine id; with --from and --to for its hours.")
@click.option("--meter", help="Meter id.")
@click.option("--kit", help="A laboratory, a method, or the batch of a kit.")
@click.option("--film", help="Film id, or the batch of a film or of labels.")
@click.option("--from", "since", help="When the fault began.")
@click.option("--to", "until", help="When it ended.")
@click.option("--carry-over", help="Running hours after --to that a bath still carries it.")
@click.option("--as-known", help="Answer as it was known at this time.")
@click.option("--pdf", type=_FILE, help="Write the report here.")
@click.option("--xlsx", type=_FILE, help="Write every table here, key data elements too.")
@click.option("--csv", "csv_file", type=_FILE, help="Write one table here.")
@click.option("--table", "table_name", default="lots", show_default=True, help="Which one.")
@click.option("--drill", is_flag=True, help="Keep it in the book as a drill, with its time.")
@click.option("--began", help="When the drill began; now when left out.")
@click.option("--hold", "reason", metavar="REASON", help="Hold every affected lot that is here.")
@click.option("--document", default="", help="Number of the paper the hold rests on.")
@in_works(who="asked")
def command(job: Job, **given: Any) -> None:
    """Find what a fault reached. Name one fault; nothing is recorded without --drill or --hold."""
    from wareleaf.works.recall import recall

    drill, reason = given["drill"], given["reason"]
    _check(job, given)
    began = job.at(given["began"], "began") or job.works.now()
    fault = _fault(job, given)
    found = recall(job.works, fault, job.at(given["as_known"], "as_known"))
    held: list[Any] = []
    if reason is not None:
        from wareleaf.works.recall_drill import hold_all

        held = hold_all(job.works, job.who, fault, reason, document=given["document"])
        found = recall(job.works, fault)
    written = _write(job, found, given, began if drill else None)
    if drill:
        from wareleaf.works.recall_drill import keep_drill

        keep_drill(job.works, job.who, found, began)
    lines = _lines(job, found)
    lines += [f"{path} written." for path in written]
    if held:
        from wareleaf.works.recall_drill import held_words

        lines.append(held_words(held))
    elif drill:
        lines.append("The drill is kept in the book.")
    elif found.not_held and not found.past:
        lines.append(f"{len(found.not_held)} lots here are not on hold; add --hold REASON.")
    lines.append("The recall rules of your local authority come first.")
    lines.append(next_step(f"lot {found.lots[0].lot.lot_id}"))
    data = {"recall": found, "accounted": found.last.accounted, "held": held, "drill": drill}
    job.say(data, lines)


def _check(job: Job, given: Mapping[str, Any]) -> None:
    """Refuse what does not go together before anything is done."""
    if given["drill"] and given["reason"] is not None:
        raise BadInput("hold", given["reason"], "In a drill nothing is held; drop one of the two.")
    if given["reason"] is not None and given["as_known"]:
        raise BadInput(
            "as_known", given["as_known"], "Lots are held as they are now; drop --as-known."
        )
    if given["drill"] or given["reason"] is not None:
        check_who(job.works, job.who)


def _fault(job: Job, given: Mapping[str, Any]) -> Fault:
    from wareleaf.cli.typed import number
    from wareleaf.works.recall_fault import Fault

    named = [(kind, given[name]) for name, kind in _KINDS.items() if given[name] is not None]
    if len(named) != 1:
        options = ", ".join(f"--{name}" for name in _KINDS)
        raise BadInput("fault", len(named), f"{len(named)} faults named; name one of: {options}.")
    carry_over = given["carry_over"]
    return Fault(
        kind=named[0][0],
        subject=named[0][1],
        since=job.at(given["since"], "from"),
        until=job.at(given["until"], "to"),
        tail_h=None if carry_over is None else number(carry_over, "carry_over"),
    )


def _write(job: Job, found: Recall, given: Mapping[str, Any], began: datetime | None) -> list[Path]:
    """Write what was asked for; with ``began`` as the report of a drill, with the time it took."""
    from wareleaf.reports import recall_files, recall_pdf, recall_tables

    zone, todo = job.works.settings.zone, {}
    if given["pdf"]:
        todo[given["pdf"]] = recall_pdf.recall_pdf(
            job.works, found, drill=began is not None, began=began
        )
    if given["xlsx"]:
        all_tables = recall_tables.tables(job.works, found)
        todo[given["xlsx"]] = recall_files.xlsx_bytes(all_tables, zone)
    if given["csv_file"]:
        one = recall_tables.table_of(job.works, found, given["table_name"])
        todo[given["csv_file"]] = recall_files.csv_text(one, zone).encode()
    for path, content in todo.items():
        write_file(path, content)
    return list(todo)


def _lines(job: Job, found: Recall) -> list[str]:
    last = found.last
    lines = [
        f"{found.fault_words}: {len(found.lots)} lots reached, {len(found.here)} still here.",
        *found.notes,
    ]
    if found.past:
        lines.insert(0, f"As known on {job.show(found.known_at)}.")
    lines.append("Received by:")
    lines += [
        f"  {r.customer} ({r.market}), {job.show(r.shipped_at)}: {r.mass_kg:g} kg of {r.lot_id}"
        + (f" ({r.returned_kg:g} kg came back, {r.net_kg:g} kg left)" if r.returned_kg else "")
        + f", {r.dry_from_fault_kg:.2f} kg dry of the fault; {r.contact or 'no name'}, "
        f"{r.phone or 'no phone'}; paper {r.document or 'missing'}"
        for r in found.received
    ] or ["  nobody"]
    lines += table(
        ("Lot", "Form", "Where", "State", "Left kg", "Share", "Dry kg of the fault"),
        (
            (
                a.lot.lot_id,
                a.lot.form,
                a.lot.place,
                a.lot.status.replace("_", " "),
                kg(a.lot.remaining_mass_g),
                percent(a.share),
                kg(a.left_dry_g),
            )
            for a in found.here
        ),
    )
    losses = last.accounted_g - (
        last.in_stock_g + last.on_machines_g + last.shipped_g + last.samples_g + last.waste_g
    )
    lines.append(
        f"Dry matter {kg(last.total_g)} kg: {kg(last.in_stock_g)} in stock, "
        f"{kg(last.on_machines_g)} on machines, {kg(last.shipped_g)} with customers, "
        f"{kg(last.samples_g)} samples, {kg(last.waste_g)} waste, {kg(losses)} lost in the "
        f"process, {kg(last.unexplained_g)} unexplained (± {kg(2.0 * found.unexplained_sd_g)})."
    )
    told = "within" if found.explained else "more than"
    lines.append(
        f"{last.accounted * 100.0:.2f} % accounted for, {told} what the scales explain; the book "
        f"took {found.seconds:.2f} s."
    )
    return lines
