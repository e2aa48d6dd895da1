"""Write the options of every command into docs/look-up/commands.md, behind its marker.

Run ``python -m wareleaf.cli.reference docs/look-up/commands.md`` after a command has changed.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from wareleaf.cli.main import cli

COMMON = ("as_json", "works_folder", "who")
"""Told once, at the top of the page."""

MARK = "<!-- options of every command, written by wareleaf.cli.reference -->"


def reference() -> str:
    """Usage, meaning and options of every command."""
    parts: list[str] = []
    context = click.Context(cli, info_name="wareleaf")
    for name in cli.list_commands(context):
        found = cli.get_command(context, name)
        assert found is not None
        parts.extend(_command(found, name, context))
    return "\n".join(parts)


def page(old: str) -> str:
    """The page with everything behind its marker renewed."""
    return f"{old.partition(MARK)[0].rstrip()}\n\n{MARK}\n\n{reference()}"


def _command(command: click.Command, name: str, parent: click.Context) -> Iterator[str]:
    context = click.Context(command, info_name=name, parent=parent)
    if isinstance(command, click.Group):
        for sub in command.list_commands(context):
            found = command.get_command(context, sub)
            assert found is not None
            yield from _command(found, sub, context)
        return
    arguments = [p for p in command.params if isinstance(p, click.Argument)]
    usage = " ".join([context.command_path, *(a.make_metavar(context) for a in arguments)])
    yield f"## {context.command_path.removeprefix('wareleaf ')}\n"
    yield f"`{usage}`\n"
    yield f"{inspect.cleandoc(command.help or '')}\n"
    options = [p for p in command.params if isinstance(p, click.Option)]
    rows = [_option(p) for p in options if p.name not in COMMON]
    if rows:
        yield "| option | meaning |\n|---|---|\n" + "\n".join(rows) + "\n"


def _option(option: click.Option) -> str:
    names = ", ".join(f"`{name}`" for name in option.opts)
    said = (option.help or "").replace("|", "\\|")
    more = " Needed." if option.required else ""
    plain = option.default is not None and not callable(option.default)
    shown = f" Usually `{option.default}`." if option.show_default and plain else ""
    return f"| {names} | {said}{more}{shown} |"


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(page(path.read_text("utf-8")), "utf-8")
