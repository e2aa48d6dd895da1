"""Write a receipt of a lot: its events and its past, to be checked offline with the public key."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("receipt")
@click.argument("lot_id", metavar="LOT")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--alone", is_flag=True, help="Only the lot's own events, without its past.")
@in_works()
def command(job: Job, lot_id: str, file: Path, alone: bool) -> None:
    """Write a receipt of LOT to FILE, under the last seal."""
    from wareleaf.works.seal_book import receipt_of, state_of, write_json
    from wareleaf.works.stamp import with_stamp

    made = with_stamp(job.works, receipt_of(job.works, lot_id, past=not alone))
    write_json(file, made)
    key = state_of(job.works).vkeys[-1]
    lines = [
        f"{len(made['events'])} events of lot {lot_id} written to {file}.",
        "A receipt holds the events word for word, with names of people and partners in them.",
        f"Who checks needs the public key, from you and not from the file: {key}",
        next_step(f"verify {file} --key '{key}'"),
    ]
    job.say({"file": file, "events": len(made["events"]), "key": key}, lines)
