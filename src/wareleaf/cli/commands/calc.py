"""Run one calculation alone: list the doors, show a schema, or compute from JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from wareleaf.measure.errors import BadInput
from wareleaf.works import doors


def _pairs(pairs: tuple[str, ...]) -> dict[str, Any]:
    """Flat input from KEY=VALUE pairs; a value that reads as JSON is taken as JSON."""
    data: dict[str, Any] = {}
    for pair in pairs:
        key, equals, text = pair.partition("=")
        if not equals:
            raise BadInput("input", pair, f"{pair!r} is not KEY=VALUE.")
        try:
            data[key] = json.loads(text)
        except json.JSONDecodeError:
            data[key] = text
    return data


def _refuse_constant(text: str) -> Any:
    raise BadInput("input", text, f"{text} is not a number that can be used.")


def read_object(source: Path | None) -> dict[str, Any]:
    """The JSON object in a file, or on standard input."""
    try:
        text = source.read_text("utf-8") if source else sys.stdin.read()
        data = json.loads(text, parse_constant=_refuse_constant)
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput("input", str(source), f"The input cannot be read: {error}.") from error
    except json.JSONDecodeError as error:
        raise BadInput("input", None, f"The input is not JSON: {error}.") from error
    if not isinstance(data, dict):
        raise BadInput("input", None, "The input must be one JSON object.")
    return data


@click.command("calc")
@click.argument("name", required=False)
@click.argument("pairs", nargs=-1, metavar="[KEY=VALUE]...")
@click.option("--schema", "show_schema", is_flag=True, help="Show the JSON Schema of the door.")
@click.option("--input", "source", type=click.Path(path_type=Path), help="Read JSON from a file.")
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    help="Of a fit: write curve and residuals as one HTML file.",
)
def command(
    name: str | None,
    pairs: tuple[str, ...],
    show_schema: bool,
    source: Path | None,
    plot: Path | None,
) -> None:
    """Run one calculation alone.

    Without NAME the doors are listed. Input is JSON on standard input, from --input FILE, or
    KEY=VALUE pairs. Bad input answers on standard output and exits with 2.
    """
    if name is None:
        for each in doors.door_names():
            click.echo(f"{each:16} {doors.summary(each)}")
        return
    try:
        if show_schema:
            click.echo(json.dumps(doors.schema(name), indent=2))
            return
        if plot is not None:
            from wareleaf.works import fit_page

            fit_page.check_plotted(name)
        data = _pairs(pairs) if pairs else read_object(source)
        found = doors.call(name, data)
        if plot is not None:
            fit_page.write(name, data, found, plot)
        click.echo(json.dumps(found, allow_nan=False))
    except BadInput as error:
        click.echo(json.dumps(doors.error_body(error)))
        sys.exit(2)
