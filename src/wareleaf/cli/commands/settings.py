"""Check a settings file: every mistake by file, line and field."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import answer, answering, json_option, next_step


@click.group("settings")
def command() -> None:
    """Work with the settings of a works."""


@command.command("check")
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@json_option
def check(path: Path, as_json: bool) -> None:
    """Check FILE, such as works/works.toml."""
    with answering(as_json):
        from wareleaf.works.settings import read_settings

        found = read_settings(path)
        counts = {
            name: len(getattr(found, name))
            for name in ("site", "source", "equipment", "meter", "product", "customer", "person")
        }
        lines = [
            f"{path} is sound: {', '.join(f'{n} {name}' for name, n in counts.items())}.",
            next_step("init FOLDER --settings FILE makes a works of it"),
        ]
        answer(as_json, {"ok": True, "counts": counts}, lines)
