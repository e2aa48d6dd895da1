"""Make a new works of what can still be read of a damaged one, and of its last backup."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import answer, answering, json_option, next_step

if TYPE_CHECKING:
    from wareleaf.store import Salvaged


@click.command("salvage")
@click.argument("source", metavar="DAMAGED_FOLDER", type=click.Path(path_type=Path))
@click.argument("target", metavar="NEW_FOLDER", type=click.Path(path_type=Path))
@click.option("--backup", type=click.Path(path_type=Path), help="Folder of the last backup.")
@json_option
def command(source: Path, target: Path, backup: Path | None, as_json: bool) -> None:
    """Make NEW_FOLDER of every event that still holds, and say what is lost.

    Stop the app first. DAMAGED_FOLDER is only read; keep it until you know what broke it.
    """
    with answering(as_json):
        from wareleaf.works.keep_safe import BEYOND_FILE, salvage_works

        saved = salvage_works(source, target, backup)
        lines = [
            f"{saved.report.events} events are in {target}: {saved.from_damaged} from the damaged "
            f"book, {saved.from_backup} from the backup. {saved.report.message}",
            *_losses(saved, target / BEYOND_FILE),
            next_step(f"verify --works {target}"),
        ]
        answer(as_json, saved, lines)


def _losses(saved: Salvaged, beyond: Path) -> list[str]:
    """What is lost, one line each."""
    lines = []
    if saved.first_lost is None:
        lines.append("No event is known to be lost; compare with the last head you wrote down.")
    else:
        lines.append(
            f"Lost: event {saved.first_lost} cannot be read in any file, and the chain ends before "
            f"it. The book went on to event {saved.last_known} at least; enter these again."
        )
    if saved.beyond:
        lines.append(
            f"{len(saved.beyond)} of the events after it can be read but not tied to the rest; "
            f"they are in {beyond}, to enter again by hand."
        )
    if saved.side_lost:
        lines.append(
            f"Not whole in any file: the tables {', '.join(saved.side_lost)}. See to PINs, seal "
            "keys and settings kept in the book."
        )
    return lines
