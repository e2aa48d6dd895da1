"""The command line. Each command is a module in ``cli/commands``, loaded only when it is run."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from pathlib import Path

import click

from wareleaf import __version__

COMMANDS = Path(__file__).parent / "commands"


class LazyGroup(click.Group):
    """A group that finds its commands by file name and imports only the one that is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(m.name.replace("_", "-") for m in pkgutil.iter_modules([str(COMMANDS)]))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"wareleaf.cli.commands.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by the first line of their module, without importing them."""
        rows = []
        for name in self.list_commands(ctx):
            source = (COMMANDS / f"{name.replace('-', '_')}.py").read_text("utf-8")
            doc = ast.get_docstring(ast.parse(source)) or ""
            rows.append((name, doc.splitlines()[0] if doc else ""))
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wareleaf")
def cli() -> None:
    """Wareleaf: one book of lots that obeys physics, for the person who runs a leaf works."""


def main() -> None:
    """Run the command line; bad input ends with a sentence and exit code 2, a full disk with 1."""
    from wareleaf.cli.common import answering

    with answering(as_json=False):
        cli(prog_name="wareleaf")
