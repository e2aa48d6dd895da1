"""Write the dossier of a lot as PDF: origin, work, measurements, decisions, what it rests on."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import Job, in_works, write_file


@click.command("dossier")
@click.argument("lot_id", metavar="LOT")
@click.option(
    "--output",
    "-o",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write; LOT.pdf when left out.",
)
@click.option("--data", "only_data", is_flag=True, help="Print the gathered data, write no PDF.")
@in_works()
def command(job: Job, lot_id: str, output: Path | None, only_data: bool) -> None:
    """Write the dossier of LOT. The same book gives the same file, byte for byte."""
    from wareleaf.works.dossier import dossier

    if only_data:
        gathered = dossier(job.works, lot_id)
        job.say(gathered, [f"{gathered.lot.lot_id}: use --json with --data to see everything."])
        return
    from wareleaf.reports.dossier import dossier_pdf

    path = output or Path(f"{lot_id}.pdf")
    content = dossier_pdf(job.works, lot_id)
    write_file(path, content)
    job.say({"path": path, "bytes": len(content)}, [f"{path}: {len(content) / 1024:.0f} KB."])
