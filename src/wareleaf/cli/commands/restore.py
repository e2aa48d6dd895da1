"""Bring a backup back as a works in a new folder."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import answer, answering, json_option, next_step


@click.command("restore")
@click.argument("source", metavar="BACKUP", type=click.Path(path_type=Path))
@click.argument("target", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--book-url", default="", help="PostgreSQL address, for a book that is no file.")
@json_option
def command(source: Path, target: Path, book_url: str, as_json: bool) -> None:
    """Make FOLDER from BACKUP; a works that is there already is never overwritten."""
    with answering(as_json):
        from wareleaf.works.keep_safe import bring_back

        report = bring_back(source, target, book_url)
        lines = [f"{report.events} events are back in {target}. {report.message}"]
        lines.append(next_step(f"verify --works {target}"))
        answer(as_json, report, lines)
