"""Import a folder of CSV or XLSX sheets, all or nothing; --preview shows it first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, next_step, table

if TYPE_CHECKING:
    from wareleaf.works.import_sheets import ImportReport

SHOWN_ROWS = 10
PROGRESS_ROWS = 1000


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    help="Which sheet is what; FOLDER/mapping.toml when left out.",
)
@click.option("--preview", is_flag=True, help="Show what would be recorded; write nothing.")
@click.option("--rows", "all_rows", is_flag=True, help="Show every row, not only the first ones.")
@in_works(who=True)
def command(job: Job, folder: Path, mapping: Path | None, preview: bool, all_rows: bool) -> None:
    """Import the sheets in FOLDER: weighments, stage sheets, readings, results, shipments.

    A bad row is refused by sheet, line, column, value and reason, and then nothing is written.
    """
    from wareleaf.works.import_sheets import import_sheets

    told = 0

    def progress(done: int, rows: int) -> None:
        nonlocal told
        if not job.as_json and done - told >= PROGRESS_ROWS:
            told = done
            click.echo(f"  {done} of {rows} rows", err=True)

    report = import_sheets(
        job.works,
        job.who,
        folder,
        mapping or folder / "mapping.toml",
        preview=preview,
        progress=progress,
    )
    lines = _lines(job, report, None if all_rows else SHOWN_ROWS)
    if preview:
        lines.append(next_step(f"import {folder} (without --preview) records it"))
    else:
        lines.append(next_step("watch"))
    job.say(report, lines)


def _lines(job: Job, report: ImportReport, most: int | None) -> list[str]:
    rows = (
        (
            sheet.file,
            sheet.job,
            str(sheet.rows),
            str(sheet.events),
            f"{sheet.mass_kg:,.1f}" if sheet.mass_kg else "",
            job.show(sheet.first_at) if sheet.first_at else "",
            job.show(sheet.last_at) if sheet.last_at else "",
        )
        for sheet in report.sheets
    )
    lines = table(("sheet", "job", "rows", "events", "kg", "first", "last"), rows)
    shown = report.lines[:most]
    lines += [f"{job.show(line.at)}  {line.place}: {line.sentence}" for line in shown]
    if len(shown) < len(report.lines):
        lines.append(f"... and {len(report.lines) - len(shown)} more; --rows shows them.")
    lines += [f"look at: {warning}" for warning in report.warnings]
    verb = "Recorded" if report.recorded else "Would record"
    return [*lines, f"{verb} {report.events} events and {report.lots} lots."]
